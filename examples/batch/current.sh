#!/bin/sh
# Amps and sag of every pack in a table at one power, as a table again: one request. The packs are invented.
#
#     sh current.sh packs.csv 300 http://127.0.0.1:8000
curl --fail --silent --show-error --data-binary "@${1:-packs.csv}" --header 'Content-Type: text/csv' \
    "${3:-http://127.0.0.1:8000}/v1/pack-current/batch?pack_power=${2:-300}&state_of_charge=80&keep=pack_mass&format=csv&digits=4"
