"""What comes out: maps, pages and files. Each draws or prints the brief of a block and decides nothing."""
