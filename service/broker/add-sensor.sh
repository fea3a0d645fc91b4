#!/bin/sh
# Gives a sensor a name and a password at the broker, and the right to speak for itself alone.
#
#   sudo service/broker/add-sensor.sh SITE SENSOR [FOLDER]
#
# FOLDER holds hilum.passwd and hilum.acl; by default /etc/mosquitto.
set -eu
export LC_ALL=C
site=${1:?which site? for example: home} sensor=${2:?which sensor? for example: tub-1}
folder=${3:-/etc/mosquitto}
for name in "$site" "$sensor"; do
  case $name in
    '' | -* | *[!a-z0-9-]*)
      echo "“$name” cannot be used: lower-case letters, digits and hyphens only." >&2
      exit 2
      ;;
  esac
done
if grep -qs "^$sensor:" "$folder/hilum.passwd"; then
  echo "$sensor has a password already. To give it a new one:" >&2
  echo "  mosquitto_passwd $folder/hilum.passwd $sensor" >&2
  exit 1
fi
password=$(openssl rand -hex 12)
mosquitto_passwd -b "$folder/hilum.passwd" "$sensor" "$password"
if ! grep -qsx "user $sensor" "$folder/hilum.acl"; then
  printf '\nuser %s\ntopic write hilum/%s/%s/readings\ntopic write hilum/%s/%s/status\n' \
    "$sensor" "$site" "$sensor" "$site" "$sensor" >> "$folder/hilum.acl"
fi
cat <<END
Added. In the sensor's config.json:
  "site": "$site",
  "sensor": "$sensor",
  "user": "$sensor",
  "password": "$password",
The broker knows it after: systemctl reload mosquitto
END
