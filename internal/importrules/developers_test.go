package importrules_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// pointer is a function that DEVELOPERS.md names, as file.go: Type.method.
var pointer = regexp.MustCompile("`([\\w./]+\\.go): (?:(\\w+)\\.)?(\\w+)`")

// A way that leads to a function that is gone leads nowhere.
func TestTheReadingsWayCanBeFollowed(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	found := pointer.FindAllStringSubmatch(string(text), -1)
	if len(found) < 10 {
		t.Errorf("found %d functions: this test has lost sight of them", len(found))
	}
	for _, m := range found {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join("../..", m[1]), nil, parser.SkipObjectResolution)
		if err != nil {
			t.Errorf("%s: %v", m[0], err)
			continue
		}
		if !declares(f, m[2], m[3]) {
			t.Errorf("%s is not there", m[0])
		}
	}
}

// declares tells whether a file has a function, of a type where one is named.
func declares(f *ast.File, of, name string) bool {
	for _, d := range f.Decls {
		fn, ok := d.(*ast.FuncDecl)
		if !ok || fn.Name.Name != name {
			continue
		}
		recv := ""
		if fn.Recv != nil {
			expr := fn.Recv.List[0].Type
			if star, ok := expr.(*ast.StarExpr); ok {
				expr = star.X
			}
			if id, ok := expr.(*ast.Ident); ok {
				recv = id.Name
			}
		}
		if recv == of {
			return true
		}
	}
	return false
}

// What the program does not import is test support and says so in its name.
func TestWhatOnlyTestsUseSaysSo(t *testing.T) {
	used := map[string]bool{}
	for _, p := range goList(t, "-deps", "./cmd/...") {
		used[p] = true
	}
	support := 0
	for _, p := range goList(t, "./internal/...") {
		switch name := strings.TrimPrefix(p, "binwatchd/internal/"); {
		case strings.HasSuffix(name, "test"):
			support++
			if used[p] {
				t.Errorf("the program imports the test support %s", name)
			}
		case !used[p] && name != "bench" && name != "importrules":
			t.Errorf("only tests use %s", name)
		}
	}
	if support < 5 {
		t.Errorf("found %d packages of test support: this test has lost sight of them", support)
	}
}
