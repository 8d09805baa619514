"""The laboratory results of a case: entered, listed, and what they say."""
