"""The page Deliveries."""
