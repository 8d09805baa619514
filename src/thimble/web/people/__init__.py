"""The register of people, a person's page, and what is documented of them."""
