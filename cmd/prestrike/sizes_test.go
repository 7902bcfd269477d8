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

// What a reader can hold in mind. A file, or a function, may be larger where a
// line of the comment above it begins with "whole:" and argues why.
const (
	maxFileLines     = 600
	maxFunctionLines = 80
	maxComplexity    = 25
)

// measured is a file or a function: its length, and the number of ways through it.
type measured struct {
	name       string
	lines      int
	complexity int
	whole      bool // argued for in its comment
}

func TestFilesAndFunctionsAreShort(t *testing.T) {
	functions := 0
	err := filepath.WalkDir(filepath.Join("..", ".."), func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() && entry.Name() == ".git" {
			return filepath.SkipDir
		}
		if filepath.Ext(path) != ".go" {
			return nil
		}
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		if lines := fset.File(file.Pos()).LineCount(); lines > maxFileLines && !whole(file.Doc) {
			t.Errorf("%s has %d lines, more than %d", path, lines, maxFileLines)
		}
		for _, decl := range file.Decls {
			function, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			functions++
			m := measure(fset, function, strings.HasSuffix(path, "_test.go"))
			if m.whole {
				continue
			}
			if m.lines > maxFunctionLines {
				t.Errorf("%s: %s has %d lines, more than %d", path, m.name, m.lines, maxFunctionLines)
			}
			if m.complexity > maxComplexity {
				t.Errorf("%s: %s has a cyclomatic complexity of %d, more than %d", path, m.name, m.complexity, maxComplexity)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if functions < 1000 {
		t.Errorf("only %d functions were seen", functions)
	}
}

// measure counts the lines of a function and its cyclomatic complexity after
// McCabe (1976): one, and one more for each condition, loop, case and
// short-circuit operator. The rows of a table that a test walks are cases to be
// read one at a time, so their lines do not count; what they branch on does.
func measure(fset *token.FileSet, function *ast.FuncDecl, test bool) measured {
	lines := func(n ast.Node) int {
		return fset.Position(n.End()).Line - fset.Position(n.Pos()).Line + 1
	}
	m := measured{name: function.Name.Name, whole: whole(function.Doc), complexity: 1, lines: lines(function)}
	var tablesEnd token.Pos // of the outermost table that is being read
	ast.Inspect(function, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CompositeLit:
			if test && isTable(n) && n.Pos() >= tablesEnd {
				m.lines -= lines(n) - 1
				tablesEnd = n.End()
			}
		case *ast.IfStmt, *ast.ForStmt, *ast.RangeStmt:
			m.complexity++
		case *ast.CaseClause:
			m.complexity += min(1, len(n.List)) // default is no condition
		case *ast.CommClause:
			if n.Comm != nil {
				m.complexity++
			}
		case *ast.BinaryExpr:
			if n.Op == token.LAND || n.Op == token.LOR {
				m.complexity++
			}
		}
		return true
	})
	return m
}

// isTable reports whether a literal is a list or a map.
func isTable(literal *ast.CompositeLit) bool {
	switch literal.Type.(type) {
	case *ast.ArrayType, *ast.MapType:
		return true
	}
	return false
}

// whole reports whether a comment argues that its file or function is clearer whole.
func whole(doc *ast.CommentGroup) bool {
	if doc == nil {
		return false
	}
	for _, comment := range doc.List {
		if why, ok := strings.CutPrefix(comment.Text, "// whole: "); ok && len(strings.Fields(why)) >= 3 {
			return true
		}
	}
	return false
}
