"""The pages: what the gateway knows, in words first, drawn as gaps."""
