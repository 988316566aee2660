"""The ranch's record: what came in, once each, nothing lost; knows rows, not what they mean."""
