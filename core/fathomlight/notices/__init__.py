"""Notices."""
