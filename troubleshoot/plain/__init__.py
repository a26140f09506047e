"""The two line dialogues over one session: words for people, JSON lines for programs. Right of session."""
