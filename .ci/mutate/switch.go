package main

import (
	"bytes"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Most of the time of an edit that is built by itself is compiling. So one tree holds all the
// edits that lie inside functions: of each function that is edited it has a copy for each edit,
// and the function calls the copy that an environment variable chooses. An edit of a constant
// is a copy of each function that uses it, with a constant of that name inside. With no edit
// chosen but `unedited`, each such function calls a copy that is as it was: where the tests
// pass then, it is no fault of the switching where they fail. Mutant schemata: Untch, Offutt,
// Harrold, ISSTA 1993.
const (
	chosen   = "PRESTRIKE_EDIT"
	unedited = -1
)

// switchFile declares what functions ask which copy to call.
const switchFile = `package %s

import (
	"os"
	"strconv"
)

var edit__, _ = strconv.Atoi(os.Getenv("` + chosen + `"))
`

// errAlone is why an edit has to be built by itself.
var errAlone = errors.New("it lies in no function that can be copied")

// A source is a file of the tree with the copies that its functions get.
type source struct {
	path, pkg string
	text      []byte
	file      *ast.File
	set       *token.FileSet
	copies    map[*ast.FuncDecl]map[int]string // by the number of the edit
}

func (s *source) at(p token.Pos) int { return s.set.Position(p).Offset }

// textOf is the text of a node.
func (s *source) textOf(n ast.Node) string { return string(s.text[s.at(n.Pos()):s.at(n.End())]) }

// A switched is a tree in which edits are chosen when tests run.
type switched struct {
	root    string
	sources map[string]*source // by path
}

// source parses a file, once.
func (sw *switched) source(path string) (*source, error) {
	if s := sw.sources[path]; s != nil {
		return s, nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, text, parser.ParseComments)
	if err != nil {
		return nil, err
	}
	s := &source{path, file.Name.Name, text, file, set, map[*ast.FuncDecl]map[int]string{}}
	sw.sources[path] = s
	return s, nil
}

// add has the tree hold an edit under a number. It returns errAlone where it cannot.
func (sw *switched) add(number int, e edit) error {
	path, err := find(sw.root, e)
	if err != nil {
		return err
	}
	s, err := sw.source(path)
	if err != nil {
		return err
	}
	from := bytes.Index(s.text, []byte(e.Old))
	to := from + len(e.Old)
	for _, d := range s.file.Decls {
		if from < s.at(d.Pos()) || to > s.at(d.End()) {
			continue
		}
		begin := s.at(d.Pos())
		wrong := string(s.text[begin:from]) + e.New + string(s.text[to:s.at(d.End())])
		switch d := d.(type) {
		case *ast.FuncDecl:
			if from < s.at(d.Body.Lbrace) || !copied(d) {
				return errAlone
			}
			s.copy(d, number, wrong)
			return nil
		case *ast.GenDecl:
			return sw.addConstants(number, s, d, wrong)
		}
	}
	return errAlone
}

// copied reports whether a function may be called through another. One that recovers must be
// the deferred call itself.
func copied(d *ast.FuncDecl) bool {
	plain := d.Body != nil && d.Type.TypeParams == nil && d.Name.Name != "init" && d.Name.Name != "main" && d.Name.Name != "_"
	ast.Inspect(d, func(n ast.Node) bool {
		id, ok := n.(*ast.Ident)
		plain = plain && !(ok && id.Name == "recover")
		return plain
	})
	return plain && (d.Doc == nil || !strings.Contains(d.Doc.Text(), "go:"))
}

// copy keeps the text of a copy of a function, and one of the function as it is.
func (s *source) copy(d *ast.FuncDecl, number int, text string) {
	if s.copies[d] == nil {
		s.copies[d] = map[int]string{unedited: s.textOf(d)}
	}
	s.copies[d][number] = text
}

// addConstants takes a declaration of constants and how an edit has it, and gives each function
// that uses one which differs a copy with that constant inside.
func (sw *switched) addConstants(number int, in *source, d *ast.GenDecl, wrong string) error {
	if d.Tok != token.CONST {
		return errAlone
	}
	was, err := constants("package p\n" + in.textOf(d))
	if err != nil {
		return errAlone
	}
	is, err := constants("package p\n" + wrong)
	if err != nil || len(was) != len(is) {
		return errAlone
	}
	inside := map[string]string{} // the declaration to be put into functions, by name
	for name, value := range is {
		if was[name] == "" || ast.IsExported(name) {
			return errAlone
		}
		if value != was[name] {
			inside[name] = "const " + name + " " + value + "; "
		}
	}
	return sw.shadow(number, filepath.Dir(in.path), d, inside)
}

// constants are the types and values of the constants of a declaration, by name.
func constants(text string) (map[string]string, error) {
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, "", text, 0)
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	for _, spec := range file.Decls[0].(*ast.GenDecl).Specs {
		spec := spec.(*ast.ValueSpec)
		if len(spec.Values) != len(spec.Names) {
			return nil, errAlone // counted by iota
		}
		for i, name := range spec.Names {
			value := "= " + text[set.Position(spec.Values[i].Pos()).Offset:set.Position(spec.Values[i].End()).Offset]
			if spec.Type != nil {
				value = text[set.Position(spec.Type.Pos()).Offset:set.Position(spec.Type.End()).Offset] + " " + value
			}
			out[name.Name] = value
		}
	}
	return out, nil
}

// shadow gives each function of a package that uses one of some constants, declared in d, a copy
// with its own. It returns errAlone, and leaves the tree as it was, where something else uses
// one: a test, a type, another declaration.
func (sw *switched) shadow(number int, dir string, d *ast.GenDecl, inside map[string]string) error {
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		return err
	}
	var copies []func()
	for _, path := range files {
		s, err := sw.source(path)
		if err != nil {
			return err
		}
		if strings.HasSuffix(path, "_test.go") {
			if !strings.HasSuffix(s.pkg, "_test") && len(used(s.file, inside)) > 0 {
				return errAlone
			}
			continue
		}
		for _, decl := range s.file.Decls {
			names := used(decl, inside)
			f, ok := decl.(*ast.FuncDecl)
			switch {
			case decl == ast.Decl(d):
				if slices.ContainsFunc(d.Specs, func(spec ast.Spec) bool { return inValues(spec.(*ast.ValueSpec), inside) }) {
					return errAlone
				}
				continue
			case len(names) == 0:
				continue
			case !ok || !copied(f) || len(used(f.Type, inside)) > 0 || declares(f, inside):
				return errAlone
			}
			add := ""
			for _, name := range names {
				add += inside[name]
			}
			text, brace := s.textOf(f), s.at(f.Body.Lbrace)-s.at(f.Pos())+1
			copies = append(copies, func() { s.copy(f, number, text[:brace]+" "+add+text[brace:]) })
		}
	}
	for _, c := range copies {
		c()
	}
	return nil
}

// used are the names of the constants that a node uses, in order.
func used(n ast.Node, inside map[string]string) []string {
	found := map[string]bool{}
	ast.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.SelectorExpr: // what is selected is none
			for _, name := range used(n.X, inside) {
				found[name] = true
			}
			return false
		case *ast.Ident:
			if inside[n.Name] != "" {
				found[n.Name] = true
			}
		}
		return true
	})
	return slices.Sorted(maps.Keys(found))
}

// inValues reports whether a constant is declared by way of another of them.
func inValues(spec *ast.ValueSpec, inside map[string]string) bool {
	return slices.ContainsFunc(spec.Values, func(v ast.Expr) bool { return len(used(v, inside)) > 0 })
}

// declares reports whether a function has something else of one of the names.
func declares(f *ast.FuncDecl, inside map[string]string) (other bool) {
	ast.Inspect(f, func(n ast.Node) bool {
		var names []*ast.Ident
		switch n := n.(type) {
		case *ast.Field:
			names = n.Names
		case *ast.ValueSpec:
			names = n.Names
		case *ast.AssignStmt:
			for _, left := range n.Lhs {
				if id, ok := left.(*ast.Ident); ok && n.Tok == token.DEFINE {
					names = append(names, id)
				}
			}
		}
		other = other || slices.ContainsFunc(names, func(id *ast.Ident) bool { return inside[id.Name] != "" })
		return true
	})
	return other
}

// write puts the copies and what chooses among them into the tree.
func (sw *switched) write() error {
	for path, s := range sw.sources {
		if len(s.copies) == 0 {
			continue
		}
		if err := os.WriteFile(path, s.withCopies(), 0o644); err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(filepath.Dir(path), "edit__.go"), fmt.Appendf(nil, switchFile, s.pkg), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// withCopies is the text of a file, the copies behind.
func (s *source) withCopies() []byte {
	var out, behind bytes.Buffer
	last := 0
	for _, decl := range s.file.Decls {
		f, ok := decl.(*ast.FuncDecl)
		if !ok || s.copies[f] == nil {
			continue
		}
		call, end := s.signature(&out, f, last)
		last = end
		fmt.Fprintf(&out, "switch edit__ {")
		for _, number := range slices.Sorted(maps.Keys(s.copies[f])) {
			suffix := copyName(number)
			if f.Type.Results == nil {
				fmt.Fprintf(&out, "case %d: "+call+"; return;", number, suffix)
			} else {
				fmt.Fprintf(&out, "case %d: return "+call+";", number, suffix)
			}
			text, name := s.copies[f][number], s.at(f.Name.End())-s.at(f.Pos())
			fmt.Fprintf(&behind, "\n%s%s%s\n", text[:name], suffix, text[name:])
		}
		out.WriteString("};")
	}
	out.Write(s.text[last:])
	out.Write(behind.Bytes())
	return out.Bytes()
}

func copyName(number int) string {
	if number == unedited {
		return "__unedited"
	}
	return fmt.Sprintf("__%d", number)
}

// signature writes the file from an offset up to the body of a function, whose parameters all
// get names. It returns the call of a copy with them, a %s behind the function's name, and the
// offset where the body begins.
func (s *source) signature(out *bytes.Buffer, f *ast.FuncDecl, from int) (call string, end int) {
	named := func(list *ast.FieldList, as string) (names []string) {
		for _, field := range list.List {
			if len(field.Names) == 0 {
				name := fmt.Sprintf("%s%d__", as, len(names))
				names = append(names, name)
				out.Write(s.text[from:s.at(field.Type.Pos())])
				out.WriteString(name + " ")
				from = s.at(field.Type.Pos())
			}
			for _, id := range field.Names {
				name := id.Name
				if name == "_" {
					name = fmt.Sprintf("%s%d__", as, len(names))
				}
				names = append(names, name)
				out.Write(s.text[from:s.at(id.Pos())])
				out.WriteString(name)
				from = s.at(id.End())
			}
		}
		return names
	}
	call = f.Name.Name + "%s("
	if f.Recv != nil {
		call = named(f.Recv, "recv")[0] + "." + call
	}
	arguments := named(f.Type.Params, "arg")
	call += strings.Join(arguments, ", ")
	if n := len(f.Type.Params.List); n > 0 {
		if _, ok := f.Type.Params.List[n-1].Type.(*ast.Ellipsis); ok {
			call += "..."
		}
	}
	end = s.at(f.Body.Lbrace) + 1
	out.Write(s.text[from:end])
	return call + ")", end
}
