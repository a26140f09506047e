"""The sentence for a check, a reading or a fault, and the grammar of what people write back."""
