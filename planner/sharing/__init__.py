"""Several growers, one order: what groups of them cost, shares of the cost, bills."""
