package importrules_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// An encoder fails on a number that its form has no word for. Where that is
// ignored, who asked gets an empty answer and nobody learns why.
func TestNoEncodersErrorIsIgnored(t *testing.T) {
	files, encodings := token.NewFileSet(), 0
	for _, dir := range []string{"../../cmd", "../../internal", "../../deploy"} {
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			f, err := parser.ParseFile(files, path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if call, ok := n.(*ast.CallExpr); ok && encodes(call) {
					encodings++
				}
				if call := ignored(n); call != nil && encodes(call) {
					t.Errorf("%s: the encoder's error is ignored", files.Position(n.Pos()))
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if encodings < 10 {
		t.Errorf("found %d calls of encoders: this test has lost sight of them", encodings)
	}
}

// ignored gives the call whose error a statement drops; nil when it drops none.
func ignored(n ast.Node) *ast.CallExpr {
	switch s := n.(type) {
	case *ast.ExprStmt:
		call, _ := s.X.(*ast.CallExpr)
		return call
	case *ast.GoStmt:
		return s.Call
	case *ast.DeferStmt:
		return s.Call
	case *ast.AssignStmt:
		last, ok := s.Lhs[len(s.Lhs)-1].(*ast.Ident)
		if ok && last.Name == "_" && len(s.Rhs) == 1 {
			call, _ := s.Rhs[0].(*ast.CallExpr)
			return call
		}
	}
	return nil
}

// encodes tells whether a call puts values into a form that may not take them.
func encodes(call *ast.CallExpr) bool {
	f, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return false
	}
	switch f.Sel.Name {
	case "Marshal", "MarshalIndent", "Execute", "ExecuteTemplate", "WriteAll":
		return true
	case "Encode":
		return len(call.Args) == 1 // url.Values has one without arguments, which cannot fail
	}
	return false
}
