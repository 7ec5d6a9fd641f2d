"""The same examples for everyone: what fails here fails there. `make search` looks at fresh ones."""

import os

from hypothesis import settings

settings.register_profile("same for all", derandomize=True)
settings.register_profile("search", max_examples=500, derandomize=False)
settings.load_profile(os.environ.get("EXAMPLES", "same for all"))
