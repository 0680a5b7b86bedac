// Package libflux without its Rust: nothing is parsed, and no query runs.
package libflux

import (
	"context"
	"errors"

	"github.com/influxdata/flux/semantic"
)

var errStub = errors.New("this server is built without Flux")

type Options struct{}

func NewOptions(context.Context) Options { return Options{} }

type ASTPkg struct{}

func (ASTPkg) ASTHandle()              {}
func (ASTPkg) Format() (string, error) { return "", errStub }
func (ASTPkg) GetError(Options) error  { return nil }
func (*ASTPkg) Free()                  {}
func (*ASTPkg) String() string         { return "" }
func (*ASTPkg) MarshalJSON() ([]byte, error) {
	return []byte(`{"type":"Package","package":"main","files":[{"type":"File","metadata":"","body":[],"imports":[]}]}`), nil
}

func Parse(string, string) *ASTPkg         { return &ASTPkg{} }
func ParseString(string) *ASTPkg           { return &ASTPkg{} }
func ParseJSON([]byte) (*ASTPkg, error)    { return nil, errStub }
func MergePackages(*ASTPkg, *ASTPkg) error { return errStub }

type SemanticPkg struct{}

func (*SemanticPkg) MarshalFB() ([]byte, error) { return nil, errStub }
func (*SemanticPkg) Free()                      {}

func SemanticPackages() (map[string]*semantic.Package, error)   { return nil, errStub }
func Analyze(*ASTPkg) (*SemanticPkg, error)                     { return nil, errStub }
func AnalyzeWithOptions(*ASTPkg, Options) (*SemanticPkg, error) { return nil, errStub }
func AnalyzeString(string) (*SemanticPkg, error)                { return nil, errStub }
func FindVarType(*ASTPkg, string) (semantic.MonoType, error)    { return semantic.MonoType{}, errStub }
func EnvStdlib() []byte                                         { return nil }

type FluxError struct{}

func (*FluxError) GoError() error { return errStub }
func (*FluxError) Print()         {}
func (*FluxError) Free()          {}

type Analyzer struct{}

func NewAnalyzerWithOptions(Options) (*Analyzer, error)              { return nil, errStub }
func (*Analyzer) AnalyzeString(string) (*SemanticPkg, *FluxError)    { return nil, &FluxError{} }
func (*Analyzer) Analyze(string, *ASTPkg) (*SemanticPkg, *FluxError) { return nil, &FluxError{} }
