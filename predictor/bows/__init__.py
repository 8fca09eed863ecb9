"""Whole bows from their records: solved, with their margins, and with what their weight depends on."""
