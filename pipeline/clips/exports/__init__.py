"""Lists of tags and reels for other programs: spreadsheets, players, cutting rooms, trackers, databases."""

from pipeline.clips.exports.writing import ExportForm, export, listed_tags

__all__ = ["ExportForm", "export", "listed_tags"]
