"""Outings: what came in on a day out, kept so that power may go at any moment, and read again."""
