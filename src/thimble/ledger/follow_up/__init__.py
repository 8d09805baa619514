"""The months after: visits planned and agreed, a worker who is not reached, support offered."""
