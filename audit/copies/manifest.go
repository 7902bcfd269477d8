package copies

import (
	"bufio"
	"cmp"
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
)

// WriteManifest writes a line for each file as GNU sha256sum does, and reads with
// its option -c from the folder that the paths begin in: the checksum, two
// blanks, the path. Where the path holds a backslash, a line feed or a carriage
// return, these are written \\, \n and \r, and the line begins with a backslash
// (GNU coreutils manual, "md5sum invocation").
func WriteManifest(w io.Writer, files []*File) error {
	b := bufio.NewWriter(w)
	for _, f := range files {
		name, front := f.Path, ""
		if name == "-" { // which sha256sum takes for its input
			name = "./-"
		}
		if strings.ContainsAny(name, "\\\n\r") {
			front = `\`
			name = strings.NewReplacer(`\`, `\\`, "\n", `\n`, "\r", `\r`).Replace(name)
		}
		// The writer keeps the first error, and Flush returns it.
		fmt.Fprintf(b, "%s%x  %s\n", front, f.Sum, name)
	}
	return b.Flush()
}

// ReadManifest reads such lines. A path is listed once; how long its file is is
// not known.
func ReadManifest(r io.Reader) ([]*File, error) {
	var files []*File
	seen := map[string]Sum{}
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, longestLine)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSuffix(lines.Text(), "\r")
		if line == "" || line[0] == '#' {
			continue
		}
		name, sum, ok := manifestLine(line)
		if !ok {
			return nil, fmt.Errorf("line %d is not a SHA-256 checksum, two blanks and a path", n)
		}
		other, twice := seen[name]
		if twice && other != sum {
			return nil, fmt.Errorf("line %d has another checksum for %s than a line before", n, name)
		}
		if twice {
			continue
		}
		seen[name] = sum
		files = append(files, &File{Path: name, Size: -1, Kind: max(Content, min(Sidecar, fileKind(path.Base(name)))), Sum: sum, Read: true})
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("it lists no file")
	}
	slices.SortFunc(files, func(x, y *File) int { return cmp.Compare(x.Path, y.Path) })
	return files, nil
}

func manifestLine(line string) (name string, sum Sum, ok bool) {
	line, escaped := strings.CutPrefix(line, `\`)
	if len(line) < 2*len(sum)+3 || line[2*len(sum)] != ' ' || line[2*len(sum)+1] != ' ' && line[2*len(sum)+1] != '*' {
		return "", sum, false
	}
	if _, err := hex.Decode(sum[:], []byte(line[:2*len(sum)])); err != nil {
		return "", sum, false
	}
	name = line[2*len(sum)+2:]
	if escaped {
		if name, ok = unescape(name); !ok {
			return "", sum, false
		}
	}
	return path.Clean(name), sum, true
}

func unescape(s string) (string, bool) {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' {
			b.WriteByte(s[i])
			continue
		}
		i++
		if i == len(s) {
			return "", false
		}
		switch s[i] {
		case '\\':
			b.WriteByte('\\')
		case 'n':
			b.WriteByte('\n')
		case 'r':
			b.WriteByte('\r')
		default:
			return "", false
		}
	}
	return b.String(), true
}

// CheckManifest compares the files that a manifest lists with folders, as
// Compare does those of a card.
func CheckManifest(ctx context.Context, listed []*File, dirs []string, opt *Options) (*Answer, error) {
	folders, err := listAll(ctx, dirs)
	if err != nil {
		return nil, err
	}
	a := &Answer{Needed: listed}
	return a, a.run(ctx, folders, map[key]*Folder{}, opt)
}
