"""The pages: what a planner or a crew opens in a browser, from a folder, without a network."""
