"""The recall list: whose visits are to be agreed, are to come, or were not kept."""
