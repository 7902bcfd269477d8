package bmff

import (
	"encoding/binary"
	"math"
	"slices"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// meta is what a meta box records, as far as it is needed (ISO/IEC 14496-12
// section 8.11; ISO/IEC 23008-12 sections 6.5 and 6.6).
type meta struct {
	found      bool
	primary    uint32
	items      map[uint32]string // item type by item number
	order      []uint32          // item numbers as listed
	idat       box
	properties [][2]uint32 // the ispe sizes by property number less one; zero for other properties
	iloc       table
	ipma       table
	iref       table
}

// A table is the content of a full box.
type table struct {
	start   int64 // of the box in the file
	version uint8
	flags   uint32
	data    []byte
}

// table loads the content of a full box, if it is of a sensible size.
func (s *scanner) table(b box) table {
	n := b.end - b.body
	if n < 4 || n > maxTable || !s.budget.Take(n) {
		s.l.AddProblem(b.kind, b.start, "a table of %d bytes was not read", n)
		return table{}
	}
	d := s.r.Load(b.body, int(n))
	if d == nil {
		return table{}
	}
	return table{start: b.start, version: d[0], flags: binary.BigEndian.Uint32(d) & 0xFFFFFF, data: d[4:]}
}

func (s *scanner) metaBox(b box) {
	m := &s.meta
	m.found = true
	m.items = map[uint32]string{}
	if b.stated > b.end {
		s.whole("list of contents", b.body, b.stated-b.body)
	}
	for c := range s.boxes(b.body+4, b.end, "meta") {
		switch c.kind {
		case "pitm":
			if h := s.r.Peek(c.body, 6); h != nil {
				m.primary = uint32(binary.BigEndian.Uint16(h[4:]))
				if h[0] > 0 {
					if h = s.r.Peek(c.body, 8); h != nil {
						m.primary = binary.BigEndian.Uint32(h[4:])
					}
				}
			}
		case "iinf":
			s.itemTypes(c)
		case "iloc":
			m.iloc = s.table(c)
		case "iref":
			m.iref = s.table(c)
		case "idat":
			m.idat = c
		case "iprp":
			s.itemProperties(c)
		}
	}
}

// itemTypes reads the types from the infe boxes of an iinf box.
func (s *scanner) itemTypes(iinf box) {
	h := s.r.Peek(iinf.body, 4)
	if h == nil {
		return
	}
	first := iinf.body + 6
	if h[0] > 0 {
		first += 2
	}
	for b := range s.boxes(first, iinf.end, "iinf") {
		h := s.r.Peek(b.body, 12)
		if b.kind != "infe" || h == nil || h[0] < 2 {
			continue // versions 0 and 1 have no item types
		}
		id, kind := uint32(binary.BigEndian.Uint16(h[4:])), h[8:12]
		if h[0] > 2 {
			if h = s.r.Peek(b.body, 14); h == nil {
				continue
			}
			id, kind = binary.BigEndian.Uint32(h[4:]), h[10:14]
		}
		if _, twice := s.meta.items[id]; !twice {
			s.meta.order = append(s.meta.order, id)
		}
		s.meta.items[id] = string(kind)
	}
}

// itemProperties reads the picture sizes, and which property is whose.
func (s *scanner) itemProperties(iprp box) {
	for b := range s.boxes(iprp.body, iprp.end, "iprp") {
		switch b.kind {
		case "ipco":
			for p := range s.boxes(b.body, b.end, "ipco") {
				var size [2]uint32
				if p.kind == "ispe" {
					if h := s.r.Peek(p.body, 12); h != nil {
						size = [2]uint32{binary.BigEndian.Uint32(h[4:]), binary.BigEndian.Uint32(h[8:])}
					}
				}
				s.meta.properties = append(s.meta.properties, size)
			}
		case "ipma":
			if s.meta.ipma.data == nil {
				s.meta.ipma = s.table(b)
			}
		}
	}
}

// A cursor takes big-endian numbers from a table. Past the end it gives zero
// and is spent.
type cursor struct {
	b     []byte
	spent bool
}

// take returns a number of 0 to 8 bytes.
func (c *cursor) take(bytes int) uint64 {
	if len(c.b) < bytes {
		c.spent = true
		return 0
	}
	var v uint64
	for _, x := range c.b[:bytes] {
		v = v<<8 | uint64(x)
	}
	c.b = c.b[bytes:]
	return v
}

// pictureSize returns the size associated with an item, or zeros.
func (m *meta) pictureSize(item uint32) (width, height uint32) {
	c := cursor{b: m.ipma.data}
	idBytes, refBytes := 2, 1
	if m.ipma.version > 0 {
		idBytes = 4
	}
	if m.ipma.flags&1 != 0 {
		refBytes = 2
	}
	for range c.take(4) {
		id := uint32(c.take(idBytes))
		for range c.take(1) {
			property := c.take(refBytes)
			if refBytes == 1 {
				property &= 0x7F // the top bit means "essential"
			} else {
				property &= 0x7FFF
			}
			if id == item && property > 0 && property <= uint64(len(m.properties)) {
				if p := m.properties[property-1]; p[0] != 0 && p[1] != 0 && !c.spent {
					return p[0], p[1]
				}
			}
		}
		if c.spent {
			break
		}
	}
	return 0, 0
}

// references returns the item references of one kind: from each item to others.
func (m *meta) references(kind string) map[uint32][]uint32 {
	refs := map[uint32][]uint32{}
	c := cursor{b: m.iref.data}
	idBytes := 2
	if m.iref.version > 0 {
		idBytes = 4
	}
	for len(c.b) >= 8 {
		size, k := int64(c.take(4)), string(c.b[:4])
		if size < 8 || size-4 > int64(len(c.b)) {
			break
		}
		entry := cursor{b: c.b[4 : size-4]}
		c.b = c.b[size-4:]
		if k != kind {
			continue
		}
		from := uint32(entry.take(idBytes))
		for range entry.take(2) {
			to := uint32(entry.take(idBytes))
			if entry.spent {
				break
			}
			refs[from] = append(refs[from], to)
		}
	}
	return refs
}

// A piece is a part of the file.
type piece struct{ off, length int64 }

// A location is where an item's data lies.
type location struct {
	pieces []piece
	why    string // why it is not known, where it is not
}

// locations reads the iloc table: for each item its pieces in the file. An
// extent of length 0 goes to the end of the file, or of the idat box.
func (s *scanner) locations() map[uint32]location {
	m := &s.meta
	if m.iloc.data == nil {
		return nil
	}
	v := m.iloc.version
	c := cursor{b: m.iloc.data}
	sizes := c.take(2)
	offBytes, lenBytes, baseBytes, indexBytes := int(sizes>>12), int(sizes>>8&15), int(sizes>>4&15), int(sizes&15)
	if v == 0 {
		indexBytes = 0
	}
	if v > 2 || max(offBytes, lenBytes, baseBytes, indexBytes) > 8 {
		s.l.AddProblem("iloc", m.iloc.start, "the table of item places is of an unknown form")
		return nil
	}
	idBytes := 2
	if v == 2 {
		idBytes = 4
	}
	all, extents := map[uint32]location{}, 0
	for range c.take(idBytes) {
		id, method := uint32(c.take(idBytes)), uint64(0)
		if v > 0 {
			method = c.take(2) & 15
		}
		source := c.take(2)
		base := c.take(baseBytes)
		var l location
		start, end := int64(0), s.r.Size()
		switch {
		case source != 0:
			l.why = "its data is in another file"
		case method == 1 && m.idat.kind == "":
			l.why = "its data is in an idat box that is missing"
		case method == 1:
			start, end = m.idat.body, m.idat.end
		case method > 1:
			l.why = "its data is made from another item"
		}
		for range c.take(2) {
			c.take(indexBytes)
			off, length := c.take(offBytes), c.take(lenBytes)
			if c.spent {
				break
			}
			if extents++; extents > maxExtents {
				s.l.AddProblem("iloc", m.iloc.start, "more than %d pieces: the rest was not read", maxExtents)
				return all
			}
			if off > math.MaxInt64/4 || base > math.MaxInt64/4 || length > math.MaxInt64/4 {
				l.why = "it is said to lie at an impossible place"
				continue
			}
			p := piece{off: start + int64(base) + int64(off), length: int64(length)}
			if length == 0 {
				p.length = max(1, end-p.off) // at least one byte, so that a place past the end shows
			}
			if method == 1 && p.off+p.length > end {
				l.why = "it reaches past the end of the idat box"
				continue
			}
			l.pieces = append(l.pieces, p)
		}
		if c.spent {
			s.l.AddProblem("iloc", m.iloc.start, "the table of item places ends early")
			return all
		}
		if l.why != "" {
			l.pieces = nil
		}
		if _, twice := all[id]; !twice {
			all[id] = l
		}
	}
	return all
}

// items draws from the meta box: the main picture's size and data, Exif and
// thumbnails.
func (s *scanner) items() {
	m := &s.meta
	if !m.found || s.r.Err != nil {
		return
	}
	where := s.locations()
	s.mainPicture(where)
	thumbs, looked := m.references("thmb"), 0
	for _, id := range m.order {
		if m.items[id] != "jpeg" || !slices.Contains(thumbs[id], m.primary) || looked == maxThumbs {
			continue
		}
		looked++
		if p := where[id].pieces; len(p) == 1 {
			w, h := m.pictureSize(id)
			s.preview(p[0].off, p[0].length, int(min(w, math.MaxInt32)), int(min(h, math.MaxInt32)), "thumbnail item")
		}
	}
	if id, ok := m.exif(); ok {
		s.exifItem(where[id])
	}
}

// exif returns the Exif item of the main picture: the one that is marked so, else
// the first.
func (m *meta) exif() (id uint32, ok bool) {
	describes := m.references("cdsc")
	for _, i := range m.order {
		if m.items[i] != "Exif" {
			continue
		}
		if slices.Contains(describes[i], m.primary) {
			return i, true
		}
		if !ok {
			id, ok = i, true
		}
	}
	return id, ok
}

// mainPicture finds the size of the primary item, and whether its data, or
// that of the tiles it is made of, lies inside the file.
func (s *scanner) mainPicture(where map[uint32]location) {
	m := &s.meta
	madeOf := m.references("dimg")
	// A part may itself be a grid, and its tiles are parts.
	parts := []uint32{m.primary}
	for at := 0; at < len(parts) && len(parts) < maxItems; at++ {
		parts = append(parts, madeOf[parts[at]]...)
	}
	for _, id := range parts[:min(len(parts), maxItems)] {
		for _, p := range where[id].pieces {
			s.l.Checked = true
			s.whole("image data", p.off, p.length)
		}
	}
	w, h := m.pictureSize(m.primary)
	if w == 0 {
		if m.items[m.primary] == "grid" {
			w, h = s.gridSize(where[m.primary])
		} else if len(parts) > 1 {
			w, h = m.pictureSize(parts[1]) // an identity derivation
		}
	}
	if w != 0 && h != 0 {
		s.l.Width, s.l.Height = w, h
	}
}

// gridSize reads the size of the whole from a grid item: version, flags, rows
// and columns less one, then width and height of 16 or 32 bits.
func (s *scanner) gridSize(at location) (width, height uint32) {
	if len(at.pieces) != 1 {
		return 0, 0
	}
	h := s.r.Peek(at.pieces[0].off, 8)
	if h == nil {
		return 0, 0
	}
	if h[1]&1 == 0 {
		return uint32(binary.BigEndian.Uint16(h[4:])), uint32(binary.BigEndian.Uint16(h[6:]))
	}
	if h = s.r.Peek(at.pieces[0].off, 12); h == nil {
		return 0, 0
	}
	return binary.BigEndian.Uint32(h[4:]), binary.BigEndian.Uint32(h[8:])
}

// exifItem adds the block of an item of type Exif: four bytes give how far
// behind them the TIFF header begins (ISO/IEC 23008-12 annex A.2.1).
func (s *scanner) exifItem(at location) {
	const where = "Exif item"
	if len(at.pieces) == 0 {
		why := at.why
		if why == "" {
			why = "it has no data"
		}
		s.l.AddProblem(where, 0, "not read: %s", why)
		return
	}
	total := int64(0)
	for i, p := range at.pieces {
		if missing := scan.Missing("Exif data", p.off, p.length, s.r.Size()); missing != "" {
			s.l.AddProblem(where, p.off, "%s", missing)
			at.pieces = at.pieces[:i+1] // what is there may still be of use
			at.pieces[i].length = max(0, s.r.Size()-p.off)
			total += at.pieces[i].length
			break
		}
		total += p.length
	}
	if total < 12 {
		if len(s.l.Problems) == 0 {
			s.l.AddProblem(where, at.pieces[0].off, "%d bytes are too few for Exif data", total)
		}
		return
	}
	var data []byte // where it is stored in pieces
	first := at.pieces[0]
	head := s.peekSome(first.off, first.length)
	if len(at.pieces) > 1 {
		if !s.budget.Take(total) {
			s.l.AddProblem(where, first.off, "Exif data in pieces of %d bytes in all was not read", total)
			return
		}
		for _, p := range at.pieces {
			data = append(data, s.r.Load(p.off, int(p.length))...)
		}
		head = data
	}
	if len(head) < 4 {
		return // the file became shorter meanwhile, or the medium failed
	}
	// Some writers count wrongly, so a header right behind the four bytes, or
	// at the start, serves too.
	for _, start := range []int64{4 + int64(binary.BigEndian.Uint32(head)), 4, 0} {
		if start > total-8 {
			continue
		}
		b := head
		if start < int64(len(head)) {
			b = head[start:]
		} else if data == nil {
			b = s.peekSome(first.off+start, first.length-start)
		} else {
			continue
		}
		if i := scan.TIFFStart(b); i >= 0 {
			start += int64(i)
			l := layout.Block{Role: layout.RoleMain, Offset: first.off + start, Length: total - start}
			if data != nil {
				l = layout.Block{Role: layout.RoleMain, Data: data[start:]}
			}
			s.l.Blocks = append(s.l.Blocks, l)
			return
		}
	}
	s.l.AddProblem(where, first.off, "no Exif data where it should be")
}

// peekSome returns up to 64 bytes at off of a piece that lies in the file.
func (s *scanner) peekSome(off, length int64) []byte { return s.r.Peek(off, int(min(length, 64))) }
