"""The specialist's report."""
