// Package exifwrite writes Exif blocks: a TIFF header, directories and their
// values (CIPA DC-008, TIFF 6.0). It writes new blocks only and never touches
// a file: prestrike makes its demonstration frames and its tests' inputs with it.
package exifwrite

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
)

// The data types of TIFF 6.0 section 2 and Exif 3.0.
const (
	TypeByte      uint16 = 1
	TypeASCII     uint16 = 2
	TypeShort     uint16 = 3
	TypeLong      uint16 = 4
	TypeRational  uint16 = 5
	TypeUndefined uint16 = 7
	TypeSRational uint16 = 10
	TypeIFD       uint16 = 13
	TypeUTF8      uint16 = 129
)

// The tags that Encode fills in itself.
const (
	tagSubIFDs               = 0x014A
	tagJPEGInterchange       = 0x0201
	tagJPEGInterchangeLength = 0x0202
	tagExifIFD               = 0x8769
)

// An Entry is one directory entry. The functions below make sound ones; Raw
// makes any.
type Entry struct {
	Tag, Type uint16
	Count     uint32
	value     func(binary.AppendByteOrder) []byte
	inline    bool // value is the four bytes of the value field, whatever Type and Count say
}

// ASCII makes a type 2 entry; the closing NUL is added.
func ASCII(tag uint16, s string) Entry { return text(tag, TypeASCII, s) }

// UTF8 makes a type 129 entry (Exif 3.0); the closing NUL is added.
func UTF8(tag uint16, s string) Entry { return text(tag, TypeUTF8, s) }

func text(tag, typ uint16, s string) Entry {
	return fixed(tag, typ, append([]byte(s), 0))
}

// Byte makes a type 1 entry.
func Byte(tag uint16, v ...byte) Entry { return fixed(tag, TypeByte, v) }

// Undefined makes a type 7 entry.
func Undefined(tag uint16, v []byte) Entry { return fixed(tag, TypeUndefined, v) }

func fixed(tag, typ uint16, v []byte) Entry {
	return Entry{tag, typ, uint32(len(v)), func(binary.AppendByteOrder) []byte { return v }, false}
}

// Short makes a type 3 entry.
func Short(tag uint16, v ...uint16) Entry {
	return Entry{tag, TypeShort, uint32(len(v)), func(o binary.AppendByteOrder) (b []byte) {
		for _, x := range v {
			b = o.AppendUint16(b, x)
		}
		return b
	}, false}
}

// Long makes a type 4 entry.
func Long(tag uint16, v ...uint32) Entry { return longs(tag, TypeLong, v) }

func longs(tag, typ uint16, v []uint32) Entry {
	return Entry{tag, typ, uint32(len(v)), func(o binary.AppendByteOrder) (b []byte) {
		for _, x := range v {
			b = o.AppendUint32(b, x)
		}
		return b
	}, false}
}

// Rational makes a type 5 entry of numerators and denominators.
func Rational(tag uint16, v ...[2]uint32) Entry {
	return Entry{tag, TypeRational, uint32(len(v)), func(o binary.AppendByteOrder) (b []byte) {
		for _, x := range v {
			b = o.AppendUint32(o.AppendUint32(b, x[0]), x[1])
		}
		return b
	}, false}
}

// SRational makes a type 10 entry of numerators and denominators.
func SRational(tag uint16, v ...[2]int32) Entry {
	return Entry{tag, TypeSRational, uint32(len(v)), func(o binary.AppendByteOrder) (b []byte) {
		for _, x := range v {
			b = o.AppendUint32(o.AppendUint32(b, uint32(x[0])), uint32(x[1]))
		}
		return b
	}, false}
}

// Raw makes an entry whose 12 bytes are as given, sound or not: value goes
// into the value field, be it the value itself or an offset.
func Raw(tag, typ uint16, count, value uint32) Entry {
	return Entry{tag, typ, count, func(o binary.AppendByteOrder) []byte { return o.AppendUint32(nil, value) }, true}
}

// A Block is a TIFF structure to be written. Entries that point to other
// directories and to the thumbnail are added by Encode.
type Block struct {
	Order     binary.AppendByteOrder // nil is little endian
	Magic     uint16                 // 0 is 42, the TIFF magic
	IFD0      []Entry
	Exif      []Entry   // the Exif IFD; none where empty
	SubIFDs   [][]Entry // pointed to by tag 0x014A of IFD0
	IFD1      []Entry   // the thumbnail's directory; none where it and Thumbnail are empty
	Thumbnail []byte    // a JPEG picture
}

// ErrTooLong means that a block or segment does not fit its length field.
var ErrTooLong = errors.New("too long for its length field")

// Encode lays the block out: header, IFD0, Exif IFD, SubIFDs, IFD1, thumbnail,
// each directory followed by its values. Entries are sorted by tag, as TIFF
// 6.0 asks.
func (b *Block) Encode() ([]byte, error) {
	order := b.Order
	if order == nil {
		order = binary.LittleEndian
	}
	magic := b.Magic
	if magic == 0 {
		magic = 42
	}

	ifd0 := slices.Clone(b.IFD0)
	exifPointer, subPointers := uint32(0), make([]uint32, len(b.SubIFDs))
	if len(b.Exif) > 0 {
		ifd0 = append(ifd0, Long(tagExifIFD, 0))
	}
	if len(subPointers) > 0 {
		ifd0 = append(ifd0, longs(tagSubIFDs, TypeIFD, subPointers))
	}
	ifd1 := slices.Clone(b.IFD1)
	if len(b.Thumbnail) > 0 {
		ifd1 = append(ifd1, Long(tagJPEGInterchange, 0), Long(tagJPEGInterchangeLength, uint32(len(b.Thumbnail))))
	}

	// Sizes do not depend on the offsets inside, so places are known before
	// anything is written.
	at := 8 + dirSize(ifd0, order)
	if len(b.Exif) > 0 {
		exifPointer = uint32(at)
		at += dirSize(b.Exif, order)
	}
	for i, sub := range b.SubIFDs {
		subPointers[i] = uint32(at)
		at += dirSize(sub, order)
	}
	next := uint32(0)
	if len(ifd1) > 0 {
		next = uint32(at)
		at += dirSize(ifd1, order)
	}
	thumbnail := uint32(at)
	if int64(at)+int64(len(b.Thumbnail)) > math.MaxUint32 {
		return nil, fmt.Errorf("block of %d bytes: %w", at+len(b.Thumbnail), ErrTooLong)
	}
	point(ifd0, tagExifIFD, exifPointer, len(b.Exif) > 0)
	point(ifd1, tagJPEGInterchange, thumbnail, len(b.Thumbnail) > 0)

	out := []byte("II")
	if order.AppendUint16(nil, 1)[1] == 1 {
		out = []byte("MM")
	}
	out = order.AppendUint32(order.AppendUint16(out, magic), 8)
	var err error
	write := func(entries []Entry, next uint32) {
		if err == nil {
			out, err = appendDir(out, entries, next, order)
		}
	}
	write(ifd0, next)
	if len(b.Exif) > 0 {
		write(b.Exif, 0)
	}
	for _, sub := range b.SubIFDs {
		write(sub, 0)
	}
	if len(ifd1) > 0 {
		write(ifd1, 0)
	}
	if err != nil {
		return nil, err
	}
	return append(out, b.Thumbnail...), nil
}

// point sets the pointer that was appended last under the tag.
func point(entries []Entry, tag uint16, to uint32, wanted bool) {
	if !wanted {
		return
	}
	for i := range slices.Backward(entries) {
		if entries[i].Tag == tag {
			entries[i] = Long(tag, to)
			return
		}
	}
}

func dirSize(entries []Entry, order binary.AppendByteOrder) int {
	size := 2 + 12*len(entries) + 4
	for _, e := range entries {
		if n := len(e.value(order)); n > 4 {
			size += n + n%2
		}
	}
	return size
}

func appendDir(out []byte, entries []Entry, next uint32, order binary.AppendByteOrder) ([]byte, error) {
	if len(entries) > math.MaxUint16 {
		return nil, fmt.Errorf("directory of %d entries: %w", len(entries), ErrTooLong)
	}
	entries = slices.Clone(entries)
	slices.SortStableFunc(entries, func(a, b Entry) int { return int(a.Tag) - int(b.Tag) })
	valuesAt := len(out) + 2 + 12*len(entries) + 4
	var values []byte
	out = order.AppendUint16(out, uint16(len(entries)))
	for _, e := range entries {
		out = order.AppendUint32(order.AppendUint16(order.AppendUint16(out, e.Tag), e.Type), e.Count)
		v := e.value(order)
		if len(v) <= 4 {
			out = append(append(out, v...), make([]byte, 4-len(v))...)
			continue
		}
		out = order.AppendUint32(out, uint32(valuesAt+len(values)))
		values = append(values, v...)
		if len(v)%2 == 1 { // TIFF 6.0 section 2: values begin on a word boundary
			values = append(values, 0)
		}
	}
	return append(order.AppendUint32(out, next), values...), nil
}

// exifIntro opens the APP1 segment (CIPA DC-008, 4.7.2).
const exifIntro = "Exif\x00\x00"

// InsertJPEG returns the JPEG picture with the Exif block in an APP1 segment
// directly behind its start marker, where CIPA DC-008 wants it. A picture that
// already has such a segment keeps it, behind the new one. Neither argument is
// changed.
func InsertJPEG(jpeg, exif []byte) ([]byte, error) {
	if !bytes.HasPrefix(jpeg, []byte{0xFF, 0xD8}) {
		return nil, errors.New("no JPEG picture: the start marker FFD8 is missing")
	}
	length := 2 + len(exifIntro) + len(exif)
	if length > math.MaxUint16 {
		return nil, fmt.Errorf("segment of %d bytes for Exif: %w", length, ErrTooLong)
	}
	out := make([]byte, 0, len(jpeg)+2+length)
	out = append(out, 0xFF, 0xD8, 0xFF, 0xE1)
	out = binary.BigEndian.AppendUint16(out, uint16(length))
	out = append(out, exifIntro...)
	out = append(out, exif...)
	return append(out, jpeg[2:]...), nil
}
