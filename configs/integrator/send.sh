#!/bin/sh
# Sends readings or change-outs to clogwise, signed after Standard Webhooks, with
# nothing but curl and openssl.
#
#   CLOGWISE_SECRET=whsec_… ./send.sh URL ID [CONTENT-TYPE] < body
#
#   echo '{"bank":"north/ahu-1/secondary","pa":120}' |
#     CLOGWISE_SECRET=whsec_… ./send.sh http://127.0.0.1:8086/v1/readings north-2026-03-02T08:00
#
# ID is the message's once-only id: the same message sent again, after a failure
# or a power cut, must carry the same one. Exit: 0 taken (the answer says what
# became of each item), 1 refused (mend it), 75 not taken now (send it again,
# same ID, after a pause).
#
# openssl sees the secret on its command line, where other users of this machine
# could read it for a moment: run this on a machine of its own, or use one of the
# Standard Webhooks libraries.
set -eu

url=${1:?the URL of /v1/readings or /v1/swaps}
id=${2:?a once-only id for this message}
type=${3:-application/json}
secret=${CLOGWISE_SECRET:?set CLOGWISE_SECRET to the secret that clogwise key new printed}

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cat > "$work/body"

# The secret's bytes follow whsec_, in base64; openssl takes them as hex digits.
key=$(printf '%s' "${secret#whsec_}" | openssl base64 -d -A | od -An -v -tx1 | tr -d ' \n')
now=$(date +%s)
signature=$({ printf '%s.%s.' "$id" "$now"; cat "$work/body"; } |
    openssl dgst -sha256 -mac HMAC -macopt "hexkey:$key" -binary | openssl base64 -A)

status=$(curl --silent --show-error --max-time 30 --output "$work/answer" --write-out '%{http_code}' \
    --header "Content-Type: $type" \
    --header "webhook-id: $id" \
    --header "webhook-timestamp: $now" \
    --header "webhook-signature: v1,$signature" \
    --data-binary "@$work/body" "$url") || exit 75

cat "$work/answer"
case $status in
200 | 202) exit 0 ;;
429 | 5??) exit 75 ;;
*) exit 1 ;;
esac
