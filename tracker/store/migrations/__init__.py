"""Migrations of the database, one file per revision, each shipped with the program."""
