"""Lists to work from: one question of the society's each, asked of the whole record."""
