"""How the tag store's tables came to be, one step a file; run by Alembic when a store is opened."""
