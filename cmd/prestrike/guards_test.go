package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// TestEveryGoroutineHasAGuard holds that a goroutine defers what recovers a panic, as
// one without ends the program whatever main does. Packages that only tests import are
// left out.
func TestEveryGoroutineHasAGuard(t *testing.T) {
	top := filepath.Join("..", "..")
	files := token.NewFileSet()
	seen := 0
	err := filepath.WalkDir(top, func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != top && strings.HasPrefix(d.Name(), "."), d.IsDir() && strings.HasSuffix(d.Name(), "test"):
			return fs.SkipDir
		case d.IsDir(), filepath.Ext(name) != ".go", strings.HasSuffix(name, "_test.go"):
			return nil
		}
		file, err := parser.ParseFile(files, name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			var started ast.Expr
			switch n := n.(type) {
			case *ast.GoStmt:
				started = n.Call.Fun
			case *ast.CallExpr: // of a WaitGroup, or after a time
				if on, ok := n.Fun.(*ast.SelectorExpr); ok && len(n.Args) > 0 && (on.Sel.Name == "Go" || on.Sel.Name == "AfterFunc") {
					started = n.Args[len(n.Args)-1]
					if _, ok := started.(*ast.Ident); ok { // a function of a library: nothing of ours runs
						return true
					}
				}
			}
			if started == nil {
				return true
			}
			seen++
			body, ok := started.(*ast.FuncLit)
			if !ok || !guarded(body.Body) {
				t.Errorf("%s: no guard is deferred in this goroutine", files.Position(started.Pos()))
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 10 {
		t.Errorf("only %d goroutines were seen", seen)
	}
}

// guarded reports whether a function defers what recovers.
func guarded(body *ast.BlockStmt) bool {
	for _, statement := range body.List {
		deferred, ok := statement.(*ast.DeferStmt)
		if !ok {
			continue
		}
		name := ""
		switch f := deferred.Call.Fun.(type) {
		case *ast.Ident:
			name = f.Name
		case *ast.SelectorExpr:
			name = f.Sel.Name
		}
		if name == "guard" || name == "Recovered" {
			return true
		}
	}
	return false
}
