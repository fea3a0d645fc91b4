#!/bin/sh
# Makes an authority of your own and a certificate for the broker, good for ten years.
#
#   sudo service/broker/make-certificates.sh NAME [FOLDER]
#
# NAME is the name under which sensors reach the broker, for example seeds.lan (an address of digits
# will not do: small boards cannot check it). Sensors get ca.der; ca.key is needed for the next
# certificate and belongs in a safe place.
set -eu
name=${1:?under which name do sensors reach the broker? for example: seeds.lan}
folder=${2:-/etc/mosquitto/certs}
days=3650
if [ -e "$folder/ca.key" ]; then
  echo "$folder/ca.key is there already; nothing was changed." >&2
  exit 1
fi
umask 077
mkdir -p "$folder"
cd "$folder"
openssl req -x509 -newkey rsa:2048 -nodes -days $days -subj "/CN=Authority of $name" \
  -keyout ca.key -out ca.crt 2>/dev/null
openssl req -newkey rsa:2048 -nodes -subj "/CN=$name" -keyout server.key -out server.csr 2>/dev/null
printf 'subjectAltName=DNS:%s\nbasicConstraints=CA:FALSE\n' "$name" > server.ext
openssl x509 -req -in server.csr -CA ca.crt -CAkey ca.key -CAcreateserial -days $days \
  -extfile server.ext -out server.crt 2>/dev/null
openssl x509 -in ca.crt -outform der -out ca.der
rm server.csr server.ext
chmod 755 .
chmod 644 ca.crt ca.der server.crt
if id mosquitto > /dev/null 2>&1; then
  chown mosquitto server.key
fi
echo "Made in $folder. Each sensor needs ca.der, Hilum ca.crt; keep ca.key to yourself."
