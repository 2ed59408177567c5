"""Activities over time: walking, stairs, running, standing, sitting, lying, and the changes between them."""
