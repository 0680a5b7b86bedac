package deploy_test

import (
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const (
	sample  = "etc/binwatchd/binwatchd.yaml"
	secret  = "etc/binwatchd/smtp.secret"
	journal = "var/lib/binwatchd/journal.db"
)

// The life of a package on a machine, by Debian Policy 4.6 §6 (maintainer
// scripts), §10.7 (configuration files) and §6.8 (what purging takes).
func TestPackageFromInstallToPurge(t *testing.T) {
	ours, err := os.ReadFile("/etc/passwd")
	if err != nil {
		t.Fatal(err)
	}
	r := newRoot(t)
	before := r.list(t)
	next := pack(t, "..", nextVersion)

	r.dpkg(t, "--install", pack(t, "..", firstVersion))
	t.Run("install", func(t *testing.T) { checkInstalled(t, r) })

	// The keeper's own, and what the daemon writes.
	r.write(t, sample, "# mine\n", 0o644)
	r.write(t, secret, "probe-words\n", 0o640)
	r.write(t, journal, "years of readings", 0o640)
	r.dpkg(t, "--install", next)
	t.Run("upgrade", func(t *testing.T) { checkKept(t, r, "ii", true) })

	r.dpkg(t, "--remove", "binwatchd")
	t.Run("remove", func(t *testing.T) { checkKept(t, r, "rc", false) })

	r.dpkg(t, "--install", next)
	t.Run("install again", func(t *testing.T) { checkKept(t, r, "ii", true) })

	r.dpkg(t, "--purge", "binwatchd")
	t.Run("purge", func(t *testing.T) {
		if got := r.status(t); got != "" {
			t.Errorf("dpkg still knows it as %q", got)
		}
		if diff := cmp.Diff(before, r.list(t)); diff != "" {
			t.Errorf("files before and after differ:\n%s", diff)
		}
		r.user(t, "binwatchd") // stays, so that its number falls to nobody else
	})
	if now, err := os.ReadFile("/etc/passwd"); err != nil || string(now) != string(ours) {
		t.Errorf("this machine's users were touched (%v)", err)
	}
}

func checkInstalled(t *testing.T, r root) {
	owner := r.user(t, "binwatchd")
	if owner[5] != "/var/lib/binwatchd" || !strings.HasSuffix(owner[6], "/nologin") {
		t.Errorf("user: got %q, want one at home in the journal's directory who can't log in", owner)
	}
	want := map[string]string{
		"usr/bin/binwatchd":                                                   "0:0 755",
		"usr/lib/systemd/system/binwatchd.service":                            "0:0 644",
		"usr/lib/sysusers.d/binwatchd.conf":                                   "0:0 644",
		"usr/lib/tmpfiles.d/binwatchd.conf":                                   "0:0 644",
		"usr/share/man/man1/binwatchd.1.gz":                                   "0:0 644",
		"usr/share/doc/binwatchd/copyright":                                   "0:0 644",
		"usr/share/doc/binwatchd/NOTICES.gz":                                  "0:0 644",
		"usr/share/doc/binwatchd/changelog.gz":                                "0:0 644",
		"usr/share/doc/binwatchd/README.md":                                   "0:0 644",
		"usr/share/doc/binwatchd/docs/probes.md":                              "0:0 644",
		"usr/share/bash-completion/completions/binwatchd":                     "0:0 644",
		"usr/share/zsh/vendor-completions/_binwatchd":                         "0:0 644",
		"usr/share/fish/vendor_completions.d/binwatchd.fish":                  "0:0 644",
		"usr/share/binwatchd/schema.json":                                     "0:0 644",
		"usr/share/lintian/overrides/binwatchd":                               "0:0 644",
		"usr/share/doc/binwatchd/examples/full.yaml":                          "0:0 644",
		"usr/share/doc/binwatchd/examples/mosquitto.conf":                     "0:0 644",
		"usr/share/doc/binwatchd/examples/prometheus":                         "0:0 755",
		"usr/share/doc/binwatchd/examples/dashboards/grafana-influx.json":     "0:0 644",
		"usr/share/doc/binwatchd/examples/dashboards/grafana-prometheus.json": "0:0 644",
		"usr/share/doc/binwatchd/examples/prometheus/scrape.yml":              "0:0 644",
		"usr/share/doc/binwatchd/examples/influx/queries.influxql":            "0:0 644",
		"etc/binwatchd":                "0:0 755",
		"etc/binwatchd/binwatchd.yaml": "0:0 644",
		"var/lib/binwatchd":            owner[2] + ":" + owner[3] + " 750",
	}
	got := map[string]string{}
	for name := range want {
		got[name] = r.mode(t, name)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if got := r.status(t); got != "ii" {
		t.Errorf("dpkg calls it %q", got)
	}
	binary := r.path("usr/bin/binwatchd")
	if got := run(t, binary, "version"); !strings.HasPrefix(got, "binwatchd "+firstVersion+" ") {
		t.Errorf("version: got %q", got)
	}
	run(t, binary, "check", "--config", r.path(sample))
	run(t, "dpkg", "--root="+r.dir, "--verify", "binwatchd")
}

// checkKept looks after what is the keeper's, which only purging takes.
func checkKept(t *testing.T, r root, status string, program bool) {
	t.Helper()
	if got := r.status(t); got != status {
		t.Errorf("dpkg calls it %q, want %q", got, status)
	}
	if got := r.has("usr/bin/binwatchd"); got != program {
		t.Errorf("the program is there: %t, want %t", got, program)
	}
	for name, want := range map[string]string{sample: "# mine\n", secret: "probe-words\n", journal: "years of readings"} {
		if got := r.read(t, name); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
}

// An upgrade whose sample has changed, as unattended upgrades go about it: the
// keeper's own stays, an untouched sample is renewed (dpkg(1), --force-confold
// and --force-confdef).
func TestUpgradeWithAnotherSample(t *testing.T) {
	next := pack(t, withSample(t, "# the next sample\n"), nextVersion)
	first := pack(t, "..", firstVersion)
	tests := []struct {
		name   string
		keeper string // writes this before the upgrade; "": nothing
		want   string
		beside bool // the new sample is laid beside it
	}{
		{"changed by the keeper", "# mine\n", "# mine\n", true},
		{"untouched", "", "# the next sample\n", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRoot(t)
			r.dpkg(t, "--install", first)
			if tt.keeper != "" {
				r.write(t, sample, tt.keeper, 0o644)
			}
			r.dpkg(t, "--force-confdef", "--force-confold", "--install", next)
			if got := r.read(t, sample); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
			if got := r.has(sample + ".dpkg-dist"); got != tt.beside {
				t.Errorf("the new sample lies beside it: %t, want %t", got, tt.beside)
			}
		})
	}
}

// The same commit gives the same package, so that anybody can check one
// (reproducible-builds.org, SOURCE_DATE_EPOCH).
func TestPackageIsTheSameEachTime(t *testing.T) {
	first, second := pack(t, "..", firstVersion), pack(t, "..", firstVersion)
	if out, err := exec.Command("cmp", first, second).CombinedOutput(); err != nil {
		t.Errorf("two packages of one source differ: %s", out)
	}
}

// list names what is in a root but for dpkg's own notes and the users.
func (r root) list(t *testing.T) []string {
	t.Helper()
	var files []string
	for name := range strings.Lines(run(t, "find", r.dir, "-mindepth", "1", "-printf", "%P\n")) {
		name = strings.TrimSpace(name)
		if !strings.HasPrefix(name, "var/lib/dpkg") && !strings.HasPrefix(name, "var/log") && !users[name] {
			files = append(files, name)
		}
	}
	slices.Sort(files)
	return files
}

// users are the files that name users; those of a machine outlive packages.
var users = map[string]bool{
	"etc/passwd": true, "etc/group": true, "etc/shadow": true, "etc/gshadow": true, "etc/.pwd.lock": true,
	"etc/passwd-": true, "etc/group-": true, "etc/shadow-": true, "etc/gshadow-": true,
}
