"""Ranking: stub until filled below."""
