"""A job: events, append-only log, replay, and the one object that every front end talks to. Right of diagnose."""
