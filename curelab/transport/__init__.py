"""How things move: nodes that store, links that conduct, for one network or for a batch of them. Nothing in here knows what moves."""
