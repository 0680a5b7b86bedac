package deploy_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Later versions must be later for Debian too (Debian Policy 4.6 §5.6.12), or a
// machine would refuse to upgrade.
func TestVersionsRise(t *testing.T) {
	repo := root{t.TempDir()}
	script, err := os.ReadFile("version.sh")
	if err != nil {
		t.Fatal(err)
	}
	repo.write(t, "deploy/version.sh", string(script), 0o755)
	version := func() string { return strings.TrimSpace(run(t, repo.path("deploy/version.sh"))) }
	if got := version(); got != "0.0.0+unversioned" {
		t.Errorf("without git: got %q", got)
	}
	git := func(args ...string) {
		t.Helper()
		cmd := exec.Command("git", args...)
		cmd.Dir = repo.dir
		cmd.Env = append(os.Environ(), "GIT_CONFIG_GLOBAL=/dev/null", "GIT_CONFIG_SYSTEM=/dev/null",
			"GIT_AUTHOR_NAME=keeper", "GIT_AUTHOR_EMAIL=keeper@example.org", "GIT_AUTHOR_DATE=2026-05-01T12:00:00Z",
			"GIT_COMMITTER_NAME=keeper", "GIT_COMMITTER_EMAIL=keeper@example.org", "GIT_COMMITTER_DATE=2026-05-01T12:00:00Z")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("git %s: %v\n%s", strings.Join(args, " "), err, out)
		}
	}
	commit := func() { git("add", "-A"); git("commit", "-q", "--allow-empty", "-m", "more") }
	steps := []struct {
		name string
		do   func()
		want string
	}{
		{"a first commit", func() { git("init", "-q"); commit() }, `^0\.0\.0\+20260501120000\.g[0-9a-f]+$`},
		{"a release to try", func() { git("tag", "v1.2.0-rc1") }, `^1\.2\.0~rc1$`},
		{"a release", func() { commit(); git("tag", "v1.2.0") }, `^1\.2\.0$`},
		{"a commit after it", commit, `^1\.2\.0\+1\.g[0-9a-f]+$`},
		{"a change after that", func() { repo.write(t, "deploy/version.sh", string(script)+"\n", 0o755) }, `^1\.2\.0\+1\.g[0-9a-f]+\.changed$`},
		{"the next release", func() { commit(); git("tag", "v1.2.1") }, `^1\.2\.1$`},
	}
	before := ""
	for _, s := range steps {
		s.do()
		got := version()
		if !regexp.MustCompile(s.want).MatchString(got) {
			t.Errorf("%s: got %q, want it like %s", s.name, got, s.want)
		}
		if before != "" && exec.Command("dpkg", "--compare-versions", before, "lt", got).Run() != nil {
			t.Errorf("%s: %q does not follow %q", s.name, got, before)
		}
		before = got
	}
	if epoch := strings.TrimSpace(run(t, filepath.Join(repo.dir, "deploy/version.sh"), "--epoch")); epoch != "1777636800" {
		t.Errorf("time of the commit: got %s, want 1777636800", epoch)
	}
}
