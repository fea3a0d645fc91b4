"""The watch: signs, rules, alerts and what is told of them."""
