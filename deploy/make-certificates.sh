#!/bin/sh
# make-certificates.sh FOLDER NAME...: a CA of your own and the broker's certificate for the names sensors know it by.
# The CA's key is needed only here: move ca.key to a place of its own afterwards. Run again, it renews the broker's
# certificate and keeps the CA, so that no sensor has to be given another.
set -eu
[ $# -ge 2 ] || { echo "usage: $0 FOLDER NAME-OR-ADDRESS..." >&2; exit 2; }
folder=$1; shift
umask 077
mkdir -p "$folder"
cd "$folder"
if [ ! -e ca.crt ]; then
    openssl ecparam -name prime256v1 -genkey -noout -out ca.key
    openssl req -x509 -new -sha256 -key ca.key -days 7300 -subj "/CN=dewgate jobsite CA" -out ca.crt \
        -addext "basicConstraints=critical,CA:TRUE,pathlen:0" -addext "keyUsage=critical,keyCertSign,cRLSign"
fi
[ -e ca.key ] || { echo "$folder/ca.key is not here: put it back to sign a new certificate" >&2; exit 1; }
names=""
for name in "$@"; do
    case $name in
    *[!0-9.]*) kind=DNS ;;
    *) kind=IP ;;
    esac
    case $name in *:*) kind=IP ;; esac
    names="$names${names:+,}$kind:$name"
done
openssl ecparam -name prime256v1 -genkey -noout -out broker.key
openssl req -new -sha256 -key broker.key -subj "/CN=$1" -out broker.csr
printf 'subjectAltName=%s\nextendedKeyUsage=serverAuth\nbasicConstraints=CA:FALSE\n' "$names" >broker.ext
openssl x509 -req -sha256 -in broker.csr -CA ca.crt -CAkey ca.key -CAcreateserial -days 825 -extfile broker.ext \
    -out broker.crt 2>/dev/null
rm -f broker.csr broker.ext
chmod 644 ca.crt broker.crt
if id mosquitto >/dev/null 2>&1 && [ "$(id -u)" = 0 ]; then chgrp mosquitto . broker.key && chmod 750 . && chmod 640 broker.key; fi
echo "made for $names; the broker reads it at its next start. Sensors need $folder/ca.crt"
