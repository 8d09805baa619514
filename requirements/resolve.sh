#!/bin/sh
# Resolve every requirement to an exact version with hashes, for Python 3.11 and newer.
set -eu
uv=$1
cd "$(dirname "$0")/.."
compile() { "$uv" pip compile --quiet --universal --python-version 3.11 --generate-hashes \
    --no-emit-index-url --no-header --no-annotate "$@"; }
# The build tools, for an editable install without a network of its own.
compile pyproject.toml requirements/build.in -o requirements/run.txt
compile pyproject.toml --extra dev -c requirements/run.txt -o requirements/dev.txt
compile pyproject.toml --extra bench -c requirements/run.txt -o requirements/bench.txt
