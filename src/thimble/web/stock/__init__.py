"""Stock: what is there, what moved, what is to be done before something is missed."""
