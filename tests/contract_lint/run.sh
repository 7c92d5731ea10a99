#!/bin/sh
# Lints the committed contract: three linters, no warning let through. Needs node; installs the linters here once.
# PYTHON names an interpreter that has openapi-spec-validator.
set -eu
cd "$(dirname "$0")"
contract=../../openapi/gramwatt.openapi.json

if [ ! -x node_modules/.bin/spectral ] || [ ! -x node_modules/.bin/redocly ]; then
    npm install --no-package-lock --no-audit --no-fund --loglevel=error
fi
export REDOCLY_TELEMETRY=off REDOCLY_SUPPRESS_UPDATE_NOTICE=true

failed=0
npx --no-install spectral lint "$contract" --ruleset .spectral.yaml --fail-severity=hint || failed=1
npx --no-install redocly lint "$contract" --extends=recommended-strict || failed=1
"${PYTHON:-python3}" -m openapi_spec_validator "$contract" || failed=1
exit $failed
