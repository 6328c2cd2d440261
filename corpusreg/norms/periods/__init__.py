"""Register habits by period: works asked of the store, differences, checks, words."""
