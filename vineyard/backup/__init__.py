"""Backup and restore: a dump counts as a backup once it was restored beside the original and found to be equal.

Everything goes through PostgreSQL's own programs.  What is checked is read by a role that sees every row, and with
``row_security`` off, so that a role which would see fewer fails instead of saving less.
"""


class BackupError(Exception):
    """No backup was made, or nothing restored; the message is a sentence for whoever asked."""
