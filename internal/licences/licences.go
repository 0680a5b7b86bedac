// Package licences knows under which licences the modules in the program are, and
// has their notices, which have to go wherever the program goes.
package licences

import _ "embed"

// Notices are the licences' own texts, each with the modules under it. After a change
// of modules: go test ./internal/licences -update.
//
//go:embed notices.txt
var notices string

// Notices gives the texts of all licences, each under the names of its modules.
func Notices() string { return notices }

// Std is the name by which the standard library goes here: it has no module path.
const Std = "std"

// Of gives the licence of a module as an SPDX expression (SPDX 2.3, annex D), or "".
// Where a module may be had under several, it is the one that we take it under.
func Of(module string) string { return spdx[module] }

// spdx has every module that is in the program on some machine.
var spdx = map[string]string{
	Std:                                           "BSD-3-Clause",
	"codeberg.org/go-latex/latex":                 "BSD-3-Clause",
	"git.sr.ht/~sbinet/gg":                        "MIT",
	"github.com/beorn7/perks":                     "MIT",
	"github.com/cespare/xxhash/v2":                "MIT",
	"github.com/dustin/go-humanize":               "MIT",
	"github.com/eclipse/paho.mqtt.golang":         "EPL-2.0",
	"github.com/golang/freetype":                  "FTL",
	"github.com/google/uuid":                      "BSD-3-Clause",
	"github.com/gorilla/websocket":                "BSD-2-Clause",
	"github.com/influxdata/influxdb-client-go/v2": "MIT",
	"github.com/klauspost/compress":               "BSD-3-Clause AND MIT",
	"github.com/mattn/go-colorable":               "MIT",
	"github.com/mattn/go-isatty":                  "MIT",
	"github.com/mochi-mqtt/server/v2":             "MIT",
	"github.com/munnerz/goautoneg":                "BSD-3-Clause",
	"github.com/nicholas-fedor/shoutrrr":          "MIT",
	"github.com/prometheus/client_golang":         "Apache-2.0",
	"github.com/prometheus/client_model":          "Apache-2.0",
	"github.com/prometheus/common":                "Apache-2.0",
	"github.com/prometheus/procfs":                "Apache-2.0",
	"github.com/remyoudompheng/bigfft":            "BSD-3-Clause",
	"github.com/rs/xid":                           "MIT",
	"github.com/wneessen/go-mail":                 "MIT AND BSD-3-Clause",
	"golang.org/x/crypto":                         "BSD-3-Clause",
	"golang.org/x/image":                          "BSD-3-Clause",
	"golang.org/x/net":                            "BSD-3-Clause",
	"golang.org/x/sync":                           "BSD-3-Clause",
	"golang.org/x/sys":                            "BSD-3-Clause",
	"golang.org/x/term":                           "BSD-3-Clause",
	"golang.org/x/text":                           "BSD-3-Clause",
	"gonum.org/v1/plot":                           "BSD-3-Clause",
	"google.golang.org/protobuf":                  "BSD-3-Clause",
	"gopkg.in/yaml.v3":                            "MIT AND Apache-2.0",
	"modernc.org/libc":                            "BSD-3-Clause AND MIT",
	"modernc.org/mathutil":                        "BSD-3-Clause",
	"modernc.org/memory":                          "BSD-3-Clause",
	"modernc.org/sqlite":                          "BSD-3-Clause AND blessing",
}
