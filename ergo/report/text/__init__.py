"""Words, sentences and tables for readers, by key and language."""
