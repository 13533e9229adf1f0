"""Backup and restore: rows, evidence files and anchors together, in a format that no database kind owns.

A backup is a folder: `manifest.json`, one file of rows for each table (one JSON array a line), the files of the data
folder under `files/`, and `SHA256SUMS`, which `sha256sum -c` reads. Encrypted, every file but the last carries `.age`.
"""
