package config

import (
	"fmt"
	"os"
	"strings"
	"time"
)

// loadZone finds a time zone by its name in the IANA data base, or the
// machine's as Local.
func loadZone(name string) (*time.Location, error) {
	loc, err := time.LoadLocation(name)
	if err != nil || name == "" {
		return nil, fmt.Errorf("%s is not a time zone, such as Europe/London or America/Los_Angeles", quoted(name))
	}
	return loc, nil
}

// machineZone is the machine's time zone, by its proper name where the machine
// says it the usual way: a page or a mail cannot show "Local".
func machineZone() *time.Location {
	name, set := os.LookupEnv("TZ")
	if !set {
		target, err := os.Readlink("/etc/localtime")
		if err != nil {
			return time.Local
		}
		_, name, _ = strings.Cut(target, "zoneinfo/")
	}
	if loc, err := loadZone(strings.TrimPrefix(name, ":")); err == nil {
		return loc
	}
	return time.Local
}
