"""What several outputs share: content, crew words, palette, layout, daily sets, quantities."""
