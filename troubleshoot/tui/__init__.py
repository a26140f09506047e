"""The terminal UI over the session: one entry field at a time, any size, no mouse. Textual is imported only here."""
