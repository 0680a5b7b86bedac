package rules_test

import (
	"testing"

	"binwatchd/internal/efforttest"
)

// Nothing here starts a goroutine, and the race detector would make minutes of seconds.
func TestMain(m *testing.M) { efforttest.Unraced(m) }
