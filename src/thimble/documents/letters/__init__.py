"""Letters: dates of visits, results explained, a referral, a word to the general practitioner."""
