// Package ifd reads the directories of TIFF structures (TIFF 6.0 section 2;
// BigTIFF as supported by libtiff), as they stand in TIFF files, in raw files
// built on TIFF and in Exif blocks. It knows the form of an entry and no tag's
// meaning.
//
// Every entry is checked before its value is decoded: the decoder below it
// trusts counts and offsets, and gives up a whole directory for one bad entry.
package ifd

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/rwcarlsen/goexif/tiff"
)

// The magic numbers behind the byte order mark.
const (
	MagicTIFF    = 42
	MagicBigTIFF = 43
	MagicORF     = 0x4F52 // IIRO, MMOR
	MagicORFS    = 0x5352 // IIRS
	MagicRW2     = 0x0055
)

// Data types of TIFF 6.0 whose values are bytes, and those beyond its twelve.
const (
	typeASCII     = 2
	typeUndefined = 7

	typeIFD    = 13  // a LONG that points to a directory (TIFF technical note 1)
	typeLong8  = 16  // BigTIFF
	typeSLong8 = 17  // BigTIFF
	typeIFD8   = 18  // BigTIFF
	typeUTF8   = 129 // Exif 3.0
)

// sizes are the bytes of one value of each type, 0 of an unknown one.
var sizes = [...]uint8{
	1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8,
	typeIFD: 4, typeLong8: 8, typeSLong8: 8, typeIFD8: 8, typeUTF8: 1,
}

func sizeOf(typ uint16) uint64 {
	if int(typ) >= len(sizes) {
		return 0
	}
	return uint64(sizes[typ])
}

const (
	// MaxEntries is how many entries of one directory are inspected. Cameras
	// write below 200; maker notes, which are not read, up to 500.
	MaxEntries = 2000
	// maxValue is the most bytes of a value that are decoded. The longest
	// that means something here are texts of a line.
	maxValue = 4096
	// maxValues is the most bytes of values that are decoded of one file.
	// Cameras need below 4 KiB; decoding takes up to twenty times that in memory.
	maxValues = 256 << 10
	// maxDirs and maxAll are the most directories that are read of one file, and
	// entries in all of them. Cameras write below 20 and 1000.
	maxDirs = 40
	maxAll  = 8000
	// entriesAtOnce is how many entries are read at a time, so that a lie about
	// their number runs into the end of the file first.
	entriesAtOnce = 64
)

// spent is what the directories of one file have taken, in all the TIFF structures
// that it holds.
type spent struct {
	dirs, entries int
	values        uint64 // bytes decoded
}

// ErrTooMany means that the directories of a file hold more than any camera
// writes, and that the rest was not read.
var ErrTooMany = errors.New("the file has more directories than any camera writes; the rest was not read")

// A File is one TIFF structure inside a file.
type File struct {
	Order binary.ByteOrder
	Magic uint16
	First int64 // offset of the first directory

	bigEndian    bool
	r            io.ReaderAt
	base, length int64 // of the structure in r
	entry        entryReader
	scratch      [64]byte // for values that are decoded at once
	memo         *Memo
}

// Open reads the header of the structure of length bytes at base in r. The
// structures of one file share a memo.
func Open(r io.ReaderAt, base, length int64, memo *Memo) (*File, error) {
	f := &File{r: r, base: base, length: length, memo: memo}
	b := f.scratch[:16]
	if err := f.read(b[:8], 0); err != nil {
		return nil, err
	}
	switch string(b[:2]) {
	case "II":
		f.Order = binary.LittleEndian
	case "MM":
		f.Order, f.bigEndian = binary.BigEndian, true
	default:
		return nil, errors.New("no byte order mark")
	}
	f.Magic = f.u16(b[2:])
	switch f.Magic {
	case MagicTIFF, MagicORF, MagicORFS, MagicRW2:
		f.First = int64(f.u32(b[4:]))
	case MagicBigTIFF:
		if err := f.read(b, 0); err != nil {
			return nil, err
		}
		if f.u16(b[4:]) != 8 || f.u16(b[6:]) != 0 {
			return nil, errors.New("a BigTIFF header with offsets that are not of 8 bytes")
		}
		f.First = offset(f.u64(b[8:]))
	default:
		return nil, fmt.Errorf("magic number %#04x is no TIFF's", f.Magic)
	}
	return f, nil
}

// Base returns where the structure begins in its file.
func (f *File) Base() int64 { return f.base }

// Length returns how many bytes the structure has.
func (f *File) Length() int64 { return f.length }

// The numbers are read by the concrete orders: through the interface each
// would move its bytes to the heap.
func (f *File) u16(b []byte) uint16 {
	if f.bigEndian {
		return binary.BigEndian.Uint16(b)
	}
	return binary.LittleEndian.Uint16(b)
}

func (f *File) u32(b []byte) uint32 {
	if f.bigEndian {
		return binary.BigEndian.Uint32(b)
	}
	return binary.LittleEndian.Uint32(b)
}

func (f *File) u64(b []byte) uint64 {
	if f.bigEndian {
		return binary.BigEndian.Uint64(b)
	}
	return binary.LittleEndian.Uint64(b)
}

func (f *File) big() bool { return f.Magic == MagicBigTIFF }

// offset turns one as stored into one that is past every end where it is too
// large for arithmetic.
func offset(u uint64) int64 { return int64(min(u, math.MaxInt64/2)) }

var errPastEnd = errors.New("it lies past the end")

// read fills b from the structure; errPastEnd where the structure or the file ends before.
func (f *File) read(b []byte, off int64) error {
	if off < 0 || off > f.length-int64(len(b)) {
		return errPastEnd
	}
	n, err := f.r.ReadAt(b, f.base+off)
	if n == len(b) {
		return nil
	}
	if err == nil || errors.Is(err, io.EOF) {
		return errPastEnd
	}
	return err
}

// An Entry is one directory entry, its value not yet read.
type Entry struct {
	Tag, Type uint16
	Count     uint64
	At        int64 // of the entry, bytes from the start of the file
	field     [8]byte
}

// A Dir is one directory.
type Dir struct {
	Entries []Entry // those that were asked for
	Next    int64   // offset of the next directory, 0 where there is none
	Cut     string  // what was left out, or empty
}

// Dir reads the directory at off and keeps the entries whose tag is wanted.
// Where the table of entries ends early, those before are kept. The error is
// ErrTooMany where the file has had all the directories that are read of one.
func (f *File) Dir(off int64, wanted func(tag uint16) bool) (d Dir, err error) {
	m := f.memo
	if m.spent.dirs >= maxDirs || m.spent.entries >= maxAll {
		return d, ErrTooMany
	}
	m.spent.dirs++
	head, size, tail := int64(2), int64(12), int64(4)
	if f.big() {
		head, size, tail = 8, 20, 8
	}
	if err := f.read(f.scratch[:head], off); err != nil {
		return d, err
	}
	b := f.scratch[:]
	stored := uint64(f.u16(b))
	if f.big() {
		stored = f.u64(b)
	}
	n := int64(min(stored, MaxEntries))
	m.spent.entries += int(n)
	if uint64(n) < stored {
		d.Cut = fmt.Sprintf("a directory of %d entries, of which the first %d were read", stored, n)
	}
	at := off + head
	if room := (f.length - at) / size; n > room {
		d.Cut = fmt.Sprintf("the directory is cut: %d of %d entries lie inside", max(room, 0), stored)
		n = max(room, 0)
	}
	start := len(m.entries)
	defer func() { d.Entries = m.entries[start:len(m.entries):len(m.entries)] }()
	for i := int64(0); i < n; {
		k := min(n-i, entriesAtOnce)
		b := m.table(k * size)
		if err := f.read(b, at+i*size); err != nil {
			d.Cut = fmt.Sprintf("the directory is cut: %d of %d entries were read", i, stored)
			return d, nil
		}
		for j := range k {
			e := b[j*size:][:size]
			tag := f.u16(e)
			if !wanted(tag) {
				continue
			}
			entry := Entry{Tag: tag, Type: f.u16(e[2:]), At: f.base + at + (i+j)*size}
			if f.big() {
				entry.Count = f.u64(e[4:])
				copy(entry.field[:], e[12:])
			} else {
				entry.Count = uint64(f.u32(e[4:]))
				copy(entry.field[:4], e[8:])
			}
			m.entries = append(m.entries, entry)
		}
		i += k
	}
	if uint64(n) == stored && f.read(b[:tail], at+n*size) == nil {
		if f.big() {
			d.Next = offset(f.u64(b))
		} else {
			d.Next = int64(f.u32(b))
		}
	}
	return d, nil
}

// Errors on what is wrong with an entry.
var (
	errNoValue  = errors.New("it holds no value (count 0)")
	errTooLarge = errors.New("its value is too large to be one")
	errTooMany  = errors.New("not read: the directories hold more than any camera writes")
)

// place returns how many bytes the value has and, where they are not in the
// entry itself, at which offset they are.
func (f *File) place(e Entry) (size uint64, inline bool, off int64, err error) {
	unit := sizeOf(e.Type)
	switch {
	case unit == 0:
		return 0, false, 0, fmt.Errorf("type %d is unknown", e.Type)
	case e.Count == 0:
		return 0, false, 0, errNoValue
	case e.Count > math.MaxInt64/8:
		return 0, false, 0, errTooLarge
	}
	size = unit * e.Count
	if f.big() {
		return size, size <= 8, offset(f.u64(e.field[:])), nil
	}
	return size, size <= 4, int64(f.u32(e.field[:])), nil
}

// Place returns where the value's bytes are: an offset in the structure and a
// length, not checked against the end. ok is false where they stand in the
// entry itself or the entry is damaged.
func (f *File) Place(e Entry) (off, length int64, ok bool) {
	size, inline, off, err := f.place(e)
	return off, offset(size), err == nil && !inline
}

// Value decodes the entry's value. Its bytes are valid until the next call of f.
func (f *File) Value(e Entry) (Value, error) {
	size, inline, off, err := f.place(e)
	if err != nil {
		return Value{}, err
	}
	if size > maxValue {
		return Value{}, errTooLarge
	}
	if f.memo.spent.values += size; f.memo.spent.values > maxValues {
		return Value{}, errTooMany
	}
	raw := f.scratch[:min(size, uint64(len(f.scratch)))]
	if size > uint64(len(raw)) {
		raw = make([]byte, size)
	}
	if inline {
		copy(raw, e.field[:])
	} else if err := f.read(raw, off); err != nil {
		return Value{}, fmt.Errorf("its value of %d bytes: %w", size, err)
	}
	typ := e.Type
	switch typ {
	case typeASCII, typeUndefined, typeUTF8: // bytes, to which the decoder has nothing to add
		return Value{bytes: raw, count: int(e.Count)}, nil
	case typeLong8, typeSLong8, typeIFD8:
		ints := make([]int64, e.Count)
		for i := range ints {
			u := f.u64(raw[8*i:])
			if ints[i] = int64(u); typ != typeSLong8 {
				ints[i] = offset(u)
			}
		}
		return Value{ints: ints, count: len(ints)}, nil
	case typeIFD:
		typ = uint16(tiff.DTLong)
	}
	key, repeats := memoKey{typ: typ, count: uint32(e.Count), bigEndian: f.bigEndian}, len(raw) <= memoBytes
	if repeats {
		copy(key.raw[:], raw)
		if v, ok := f.memo.values[key]; ok {
			return v, nil
		}
	}
	tag, err := f.entry.decode(e.Tag, typ, uint32(e.Count), raw, f.Order)
	if err != nil {
		return Value{}, err
	}
	v := Value{tag: tag, count: int(tag.Count)}
	if repeats {
		f.memo.keep(key, v)
	}
	return v, nil
}

// A Memo keeps what serves all the structures of a file, and one file after the
// other: decoded numbers, which the frames of a session repeat, as decoding takes up
// to 1 µs and 14 pieces of memory a value; the memory that directories are read into;
// and what the file has taken of what one file may. The zero Memo is empty. It serves
// one goroutine.
type Memo struct {
	values  map[memoKey]Value
	entries []Entry // of all directories of the file
	raw     []byte
	spent   spent
}

// Next begins another file. The directories of the one before are given up.
func (m *Memo) Next() { m.entries, m.spent = m.entries[:0], spent{} }

// table returns memory for n bytes of a directory.
func (m *Memo) table(n int64) []byte {
	if n > int64(len(m.raw)) {
		m.raw = make([]byte, n)
	}
	return m.raw[:n]
}

const (
	memoBytes  = 32 // the four quotients of a lens
	memoValues = 512
)

type memoKey struct {
	typ       uint16
	bigEndian bool
	count     uint32
	raw       [memoBytes]byte
}

func (m *Memo) keep(key memoKey, v Value) {
	if m.values == nil || len(m.values) == memoValues {
		m.values = make(map[memoKey]Value, memoValues/4)
	}
	m.values[key] = v
}

// Number returns the entry's first whole number.
func (f *File) Number(e Entry) (uint64, error) {
	_, inline, off, err := f.place(e)
	if err != nil {
		return 0, err
	}
	raw := f.scratch[:sizeOf(e.Type)]
	if inline {
		copy(raw, e.field[:])
	} else if err := f.read(raw, off); err != nil {
		return 0, fmt.Errorf("its value: %w", err)
	}
	n, ok := f.number(e.Type, raw)
	if !ok {
		return 0, fmt.Errorf("type %d holds no whole numbers", e.Type)
	}
	return n, nil
}

// Numbers returns n of the entry's whole numbers, from the i-th on, without a
// limit on the entry's own length: lists of strips can be long. The caller
// bounds n.
func (f *File) Numbers(e Entry, i uint64, n int) ([]uint64, error) {
	size, inline, off, err := f.place(e)
	if err != nil {
		return nil, err
	}
	unit := sizeOf(e.Type)
	if uint64(n) > e.Count || i > e.Count-uint64(n) || i*unit > size {
		return nil, errPastEnd
	}
	raw := e.field[:]
	if inline {
		raw = raw[i*unit:]
	} else {
		raw = make([]byte, uint64(n)*unit)
		if err := f.read(raw, off+int64(i*unit)); err != nil {
			return nil, err
		}
	}
	v := make([]uint64, n)
	for k := range v {
		var ok bool
		if v[k], ok = f.number(e.Type, raw[uint64(k)*unit:]); !ok {
			return nil, fmt.Errorf("type %d holds no whole numbers", e.Type)
		}
	}
	return v, nil
}

func (f *File) number(typ uint16, b []byte) (n uint64, ok bool) {
	switch typ {
	case 1:
		return uint64(b[0]), true
	case 3:
		return uint64(f.u16(b)), true
	case 4, typeIFD:
		return uint64(f.u32(b)), true
	case typeLong8, typeIFD8:
		return f.u64(b), true
	}
	return 0, false
}

// An entryReader hands goexif's decoder one entry, and its value from memory.
type entryReader struct {
	head  [12]byte
	at    int
	value []byte
}

// decode decodes an entry of one of the twelve types whose value is raw.
// The entry is made anew, with offset 0: raw is all that the decoder can see.
func (r *entryReader) decode(tag, typ uint16, count uint32, raw []byte, order binary.ByteOrder) (*tiff.Tag, error) {
	*r = entryReader{value: raw}
	order.PutUint16(r.head[:], tag)
	order.PutUint16(r.head[2:], typ)
	order.PutUint32(r.head[4:], count)
	if len(raw) <= 4 {
		copy(r.head[8:], raw)
	}
	return tiff.DecodeTag(r, order)
}

func (r *entryReader) Read(p []byte) (int, error) {
	n := copy(p, r.head[r.at:])
	r.at += n
	if n == 0 && len(p) > 0 {
		return 0, io.EOF
	}
	return n, nil
}

func (r *entryReader) ReadAt(p []byte, off int64) (int, error) {
	if off >= int64(len(r.value)) {
		return 0, io.EOF
	}
	n := copy(p, r.value[off:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// A Value is a decoded value: a row of numbers or a text. Cameras vary the
// types, so it answers as what it is asked for where that loses nothing.
type Value struct {
	tag   *tiff.Tag
	ints  []int64
	bytes []byte
	count int
}

// Len returns how many numbers there are, or bytes of text.
func (v Value) Len() int { return v.count }

// Int returns the i-th number where it is whole.
func (v Value) Int(i int) (int64, bool) {
	switch {
	case i < 0 || i >= v.count:
		return 0, false
	case v.ints != nil:
		return v.ints[i], true
	case v.tag == nil:
		return 0, false
	case v.tag.Format() == tiff.IntVal:
		n, err := v.tag.Int64(i)
		return n, err == nil
	case v.tag.Format() == tiff.RatVal:
		num, den, err := v.tag.Rat2(i)
		if err != nil || den == 0 || num%den != 0 {
			return 0, false
		}
		return num / den, true
	}
	return 0, false
}

// Rat returns the i-th number as a quotient. The denominator can be 0.
func (v Value) Rat(i int) (num, den int64, ok bool) {
	if v.tag != nil && v.tag.Format() == tiff.RatVal && i >= 0 && i < v.count {
		num, den, err := v.tag.Rat2(i) // never Rat, which panics on a denominator of 0
		return num, den, err == nil
	}
	num, ok = v.Int(i)
	return num, 1, ok
}

// Bytes returns the bytes of a text or of an undefined value; ok is false
// where the value is numbers.
func (v Value) Bytes() (b []byte, ok bool) {
	if v.tag != nil && v.tag.Type == tiff.DTByte {
		return v.tag.Val, true
	}
	return v.bytes, v.bytes != nil
}
