"""What is made of recordings and fits: inspection, review, report, comparison, plan."""
