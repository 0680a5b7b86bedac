package trend_test

import (
	"testing"

	"binwatchd/internal/efforttest"
)

func TestMain(m *testing.M) { efforttest.Laws(m) }
