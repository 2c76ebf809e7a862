"""Whether the records are what they were when they were stored: `files`, `figures`, `history`; `everything` asks them all."""
