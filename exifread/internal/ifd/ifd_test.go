package ifd

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
)

// An order and how its structures begin (TIFF 6.0 section 2).
var orders = []struct {
	binary.AppendByteOrder
	mark string
}{{binary.LittleEndian, "II"}, {binary.BigEndian, "MM"}}

func all(uint16) bool { return true }

// structure is a TIFF with one directory at 8, and data behind it. Each entry is
// tag, type, count, and its value field of four bytes.
func structure(o binary.AppendByteOrder, mark string, next uint32, data []byte, entries ...entry) []byte {
	b := o.AppendUint32(o.AppendUint16([]byte(mark), MagicTIFF), 8)
	b = o.AppendUint16(b, uint16(len(entries)))
	for _, e := range entries {
		b = o.AppendUint32(o.AppendUint16(o.AppendUint16(b, e.tag), e.typ), e.count)
		b = append(b, e.field...)
	}
	return append(o.AppendUint32(b, next), data...)
}

type entry struct {
	tag, typ uint16
	count    uint32
	field    []byte
}

func open(t *testing.T, b []byte) (*File, Dir) {
	t.Helper()
	f, err := Open(bytes.NewReader(b), 0, int64(len(b)), new(Memo))
	if err != nil {
		t.Fatal(err)
	}
	d, err := f.Dir(f.First, all)
	if err != nil {
		t.Fatal(err)
	}
	return f, d
}

// show prints a value by all that it answers to.
func show(v Value, err error) string {
	if err != nil {
		return "error: " + err.Error()
	}
	if b, ok := v.Bytes(); ok {
		return fmt.Sprintf("%d bytes %q", v.Len(), b)
	}
	var s []string
	for i := range v.Len() {
		num, den, ok := v.Rat(i)
		if !ok {
			s = append(s, "?")
			continue
		}
		n, whole := v.Int(i)
		if whole {
			s = append(s, fmt.Sprint(n))
		} else {
			s = append(s, fmt.Sprintf("%d/%d", num, den))
		}
	}
	return strings.Join(s, " ")
}

// Every type of TIFF 6.0, and those beyond, in the entry and behind it, in both
// byte orders.
func TestValue(t *testing.T) {
	for _, o := range orders {
		u16, u32 := func(n uint16) []byte { return o.AppendUint16(nil, n) }, func(n uint32) []byte { return o.AppendUint32(nil, n) }
		field := func(parts ...[]byte) []byte { return append(bytes.Join(parts, nil), make([]byte, 4)...)[:4] }
		for _, c := range []struct {
			name  string
			typ   uint16
			count uint32
			field []byte // nil where the value is data
			data  []byte
			want  string
		}{
			{"BYTE", 1, 3, field([]byte{7, 8, 255}), nil, `3 bytes "\a\b\xff"`},
			{"ASCII in the entry", 2, 4, []byte("abc\x00"), nil, `4 bytes "abc\x00"`},
			{"ASCII", 2, 9, nil, []byte("ammonite\x00"), `9 bytes "ammonite\x00"`},
			{"SHORT", 3, 2, field(u16(1), u16(65535)), nil, "1 65535"},
			{"SHORT, three", 3, 3, nil, bytes.Join([][]byte{u16(1), u16(2), u16(3)}, nil), "1 2 3"},
			{"LONG", 4, 1, u32(math.MaxUint32), nil, "4294967295"},
			{"RATIONAL", 5, 2, nil, bytes.Join([][]byte{u32(1), u32(125), u32(6), u32(3)}, nil), "1/125 2"},
			{"RATIONAL by 0", 5, 1, nil, append(u32(1), u32(0)...), "1/0"},
			{"SBYTE", 6, 2, field([]byte{0xFF, 1}), nil, "-1 1"},
			{"UNDEFINED", 7, 4, []byte("0232"), nil, `4 bytes "0232"`},
			{"SSHORT", 8, 1, field(u16(0xFFFE)), nil, "-2"},
			{"SLONG", 9, 1, u32(0xFFFFFFFD), nil, "-3"},
			{"SRATIONAL", 10, 1, nil, append(u32(0xFFFFFFFF), u32(3)...), "-1/3"},
			{"FLOAT", 11, 1, u32(math.Float32bits(1.5)), nil, "?"},
			{"IFD", 13, 1, u32(26), nil, "26"},
			{"UTF-8", 129, 5, nil, []byte("Müll"), `5 bytes "Müll"`},
			{"type 0", 0, 1, u32(0), nil, "error: type 0 is unknown"},
			{"type 14", 14, 1, u32(0), nil, "error: type 14 is unknown"},
			{"count 0", 3, 0, u32(0), nil, "error: it holds no value (count 0)"},
			{"too long", 2, maxValue + 1, u32(8), nil, "error: its value is too large to be one"},
			{"SHORT whose size wraps in 32 bits", 3, 0x80000002, u32(8), nil, "error: its value is too large to be one"},
			{"past the end", 5, 1, u32(1 << 20), nil, "error: its value of 8 bytes: it lies past the end"},
			{"across the end", 5, 1, nil, u32(1), "error: its value of 8 bytes: it lies past the end"},
		} {
			const dataAt = 8 + 2 + 12 + 4
			e := entry{0x1234, c.typ, c.count, c.field}
			if c.field == nil {
				e.field = u32(dataAt)
			}
			f, d := open(t, structure(o, o.mark, 0, c.data, e))
			if len(d.Entries) != 1 || d.Entries[0].Tag != 0x1234 || d.Entries[0].At != 10 {
				t.Fatalf("%s %s: %+v", o.mark, c.name, d)
			}
			for range 2 { // the second time from memory
				if got := show(f.Value(d.Entries[0])); got != c.want {
					t.Errorf("%s %s: %s, want %s", o.mark, c.name, got, c.want)
				}
			}
		}
	}
}

// What is asked beyond a value's own numbers is answered with false.
func TestValueAskedForMore(t *testing.T) {
	o := orders[0]
	f, d := open(t, structure(o, o.mark, 0, nil, entry{1, 3, 1, []byte{9, 0, 0, 0}}, entry{2, 2, 2, []byte("a\x00\x00\x00")}))
	n, err := f.Value(d.Entries[0])
	if err != nil {
		t.Fatal(err)
	}
	text, err := f.Value(d.Entries[1])
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range []int{-1, 1, math.MaxInt} {
		if _, ok := n.Int(i); ok {
			t.Errorf("number %d of one", i)
		}
		if _, _, ok := n.Rat(i); ok {
			t.Errorf("quotient %d of one", i)
		}
	}
	if _, ok := n.Bytes(); ok {
		t.Error("a number gives bytes")
	}
	if _, ok := text.Int(0); ok {
		t.Error("a text gives a number")
	}
	if _, ok := (Value{}).Int(0); ok {
		t.Error("nothing gives a number")
	}
}

func TestOpen(t *testing.T) {
	big := func(b ...byte) []byte { return append([]byte("MM\x00\x2B"), b...) }
	for _, c := range []struct {
		name, want string // part of the error
		b          []byte
		first      int64
	}{
		{"II", "", []byte("II\x2A\x00\x08\x00\x00\x00"), 8},
		{"MM", "", []byte("MM\x00\x2A\x00\x01\x00\x00"), 0x10000},
		{"ORF", "", []byte("IIRO\x08\x00\x00\x00"), 8},
		{"RW2", "", []byte("IIU\x00\x18\x00\x00\x00"), 24},
		{"BigTIFF", "", big(0, 8, 0, 0, 0, 0, 0, 0, 0, 0, 0, 16), 16},
		{"BigTIFF, offset past all arithmetic", "", big(0, 8, 0, 0, 255, 255, 255, 255, 255, 255, 255, 255), math.MaxInt64 / 2},
		{"BigTIFF, offsets of 4 bytes", "not of 8 bytes", big(0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 16), 0},
		{"BigTIFF, cut", "past the end", big(0, 8, 0, 0), 0},
		{"no mark", "byte order mark", []byte("IM\x2A\x00\x08\x00\x00\x00"), 0},
		{"no magic", "0x1234", []byte("MM\x12\x34\x08\x00\x00\x00"), 0},
		{"seven bytes", "past the end", []byte("II\x2A\x00\x08\x00\x00"), 0},
	} {
		f, err := Open(bytes.NewReader(append([]byte("before"), c.b...)), 6, int64(len(c.b)), new(Memo))
		if c.want != "" {
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s: error %v, want %q", c.name, err, c.want)
			}
			continue
		}
		if err != nil || f.First != c.first || f.Base() != 6 || f.Length() != int64(len(c.b)) {
			t.Errorf("%s: %+v, %v; want directory at %d", c.name, f, err, c.first)
		}
	}
}

// A directory is kept as far as it is there.
func TestDir(t *testing.T) {
	o := orders[0]
	var list []entry
	for i := range 150 {
		list = append(list, entry{uint16(i), 3, 1, []byte{byte(i), 0, 0, 0}})
	}
	whole := structure(o, o.mark, 0x55, nil, list...)
	f, err := Open(bytes.NewReader(whole), 0, int64(len(whole)), new(Memo))
	if err != nil {
		t.Fatal(err)
	}
	d, err := f.Dir(f.First, func(tag uint16) bool { return tag%2 == 1 })
	if err != nil || len(d.Entries) != 75 || d.Next != 0x55 || d.Cut != "" {
		t.Errorf("whole: %d entries, next %#x, cut %q, %v", len(d.Entries), d.Next, d.Cut, err)
	}
	for i, e := range d.Entries {
		if n, err := f.Number(e); err != nil || n != uint64(2*i+1) || e.Tag != uint16(2*i+1) {
			t.Errorf("entry %d: tag %d, number %d, %v", i, e.Tag, n, err)
		}
	}
	for _, n := range []int{9, 10, 21, 22, 700, len(whole) - 5} {
		f, err := Open(bytes.NewReader(whole[:n]), 0, int64(n), new(Memo))
		if err != nil {
			t.Fatal(err)
		}
		d, err := f.Dir(f.First, all)
		if want := max(0, (n-10)/12); n >= 10 && (err != nil || len(d.Entries) != want || !strings.Contains(d.Cut, "of 150 entries") || d.Next != 0) {
			t.Errorf("first %d bytes: %d entries, cut %q, next %d, %v; want %d", n, len(d.Entries), d.Cut, d.Next, err, want)
		}
		if n < 10 && err == nil {
			t.Errorf("first %d bytes: a directory", n)
		}
	}
	// The medium ends before the size that it stated.
	f, err = Open(bytes.NewReader(whole[:1000]), 0, int64(len(whole)), new(Memo))
	if err != nil {
		t.Fatal(err)
	}
	if d, err = f.Dir(f.First, all); err != nil || len(d.Entries) != entriesAtOnce || !strings.Contains(d.Cut, "64 of 150 entries were read") {
		t.Errorf("shorter than stated: %d entries, cut %q, %v", len(d.Entries), d.Cut, err)
	}
}

// What is read of one file is bounded over all its structures.
func TestBudget(t *testing.T) {
	o := orders[1]
	one := structure(o, o.mark, 0, make([]byte, maxValue), entry{1, 2, maxValue, o.AppendUint32(nil, 26)})
	f, d := open(t, one)
	for i := range maxValues/maxValue + 1 {
		_, err := f.Value(d.Entries[0])
		if want := i == maxValues/maxValue; errors.Is(err, errTooMany) != want || err != nil && !want {
			t.Errorf("value %d: %v", i, err)
		}
	}
	dirs, before := 1, d.Entries[0]
	for range 2 * maxDirs { // each time as if it were another structure of the file
		g, err := Open(bytes.NewReader(one), 0, int64(len(one)), f.memo)
		if err != nil {
			t.Fatal(err)
		}
		switch other, err := g.Dir(g.First, all); {
		case err == nil:
			dirs++
			other.Entries[0] = Entry{} // memory of its own
		case !errors.Is(err, ErrTooMany):
			t.Fatal(err)
		}
	}
	if dirs != maxDirs {
		t.Errorf("%d directories were read, want %d", dirs, maxDirs)
	}
	if d.Entries[0] != before {
		t.Error("reading other directories of the file changed the first")
	}
	f.memo.Next()
	if _, err := f.Dir(f.First, all); err != nil {
		t.Errorf("of the next file: %v", err)
	}
	// A directory that claims more than any camera writes.
	lie := structure(o, o.mark, 0, make([]byte, 12*(MaxEntries+1)))
	lie[8], lie[9] = 0xFF, 0xFF
	f, err := Open(bytes.NewReader(lie), 0, int64(len(lie)), new(Memo))
	if err != nil {
		t.Fatal(err)
	}
	entries := 0
	for {
		d, err := f.Dir(f.First, all)
		if errors.Is(err, ErrTooMany) {
			break
		}
		if err != nil || !strings.Contains(d.Cut, "65535 entries") {
			t.Fatalf("cut %q, %v", d.Cut, err)
		}
		entries += len(d.Entries)
	}
	if entries != maxAll {
		t.Errorf("%d entries were read, want %d", entries, maxAll)
	}
}

func TestNumbers(t *testing.T) {
	o := orders[0]
	const n = 3000 // longer than a value that is decoded may be
	var data []byte
	for i := range n {
		data = o.AppendUint32(data, uint32(10*i))
	}
	at := o.AppendUint32(nil, 8+2+3*12+4)
	f, d := open(t, structure(o, o.mark, 0, data,
		entry{1, 4, n, at}, entry{2, 3, 2, []byte{1, 0, 2, 0}}, entry{3, 2, n, at}))
	long, short, text := d.Entries[0], d.Entries[1], d.Entries[2]
	if v, err := f.Numbers(long, 1000, 3); err != nil || fmt.Sprint(v) != "[10000 10010 10020]" {
		t.Errorf("from the middle: %v, %v", v, err)
	}
	if v, err := f.Numbers(short, 1, 1); err != nil || fmt.Sprint(v) != "[2]" {
		t.Errorf("in the entry: %v, %v", v, err)
	}
	for _, c := range []struct {
		e    Entry
		from uint64
		n    int
	}{{long, n, 1}, {long, n - 1, 2}, {long, math.MaxUint64, 1}, {short, 0, 3}, {text, 0, 1}} {
		if v, err := f.Numbers(c.e, c.from, c.n); err == nil {
			t.Errorf("%d from %d of tag %d: %v", c.n, c.from, c.e.Tag, v)
		}
	}
	if _, err := f.Number(text); err == nil {
		t.Error("a text gives a number")
	}
	if off, length, ok := f.Place(long); !ok || off != 50 || length != 4*n {
		t.Errorf("place %d, %d, %v", off, length, ok)
	}
	if _, _, ok := f.Place(short); ok {
		t.Error("a value in the entry has a place")
	}
}

// BigTIFF has entries of 20 bytes and values of 8 in them (libtiff).
func TestBigTIFF(t *testing.T) {
	o := binary.BigEndian
	b := o.AppendUint64([]byte("MM\x00\x2B\x00\x08\x00\x00"), 16)
	b = o.AppendUint64(b, 3)
	add := func(tag, typ uint16, count, field uint64) {
		b = o.AppendUint64(o.AppendUint64(o.AppendUint16(o.AppendUint16(b, tag), typ), count), field)
	}
	add(1, typeLong8, 1, 1<<40)
	add(2, typeSLong8, 1, math.MaxUint64)
	add(3, typeLong8, 1<<62, 0)
	b = o.AppendUint64(b, 0x77)
	f, d := open(t, b)
	if len(d.Entries) != 3 || d.Next != 0x77 {
		t.Fatalf("%+v", d)
	}
	for i, want := range []string{"1099511627776", "-1", "error: its value is too large to be one"} {
		if got := show(f.Value(d.Entries[i])); got != want {
			t.Errorf("entry %d: %s, want %s", i, got, want)
		}
	}
}

// broken fails from an offset on.
type broken struct {
	r    *bytes.Reader
	from int64
}

var errMedium = errors.New("the card was pulled")

func (b broken) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) > b.from {
		return 0, errMedium
	}
	return b.r.ReadAt(p, off)
}

// The error of the medium is not taken for damage.
func TestMediumFails(t *testing.T) {
	o := orders[0]
	b := structure(o, o.mark, 0, make([]byte, 8), entry{1, 5, 1, o.AppendUint32(nil, 26)})
	open := func(from int64) (*File, error) {
		return Open(broken{bytes.NewReader(b), from}, 0, int64(len(b)), new(Memo))
	}
	if _, err := open(4); !errors.Is(err, errMedium) {
		t.Errorf("header: %v", err)
	}
	f, err := open(8)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Dir(f.First, all); !errors.Is(err, errMedium) {
		t.Errorf("directory: %v", err)
	}
	if f, err = open(26); err != nil {
		t.Fatal(err)
	}
	d, err := f.Dir(f.First, all)
	if err != nil || len(d.Entries) != 1 {
		t.Fatalf("%+v, %v", d, err)
	}
	if _, err := f.Value(d.Entries[0]); !errors.Is(err, errMedium) {
		t.Errorf("value: %v", err)
	}
}
