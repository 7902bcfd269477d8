package pictures

import (
	"bytes"
	"path/filepath"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
)

// FuzzDecode holds that nothing is believed but what was written for the same
// sequence, and that nothing else ends the program: not as the content of an entry,
// nor as JSON behind a checksum that holds.
func FuzzDecode(f *testing.F) {
	found := &pixels.Seen{
		Judgement: &pixels.Judgement{Frames: 2, PerFrame: make([]pixels.FrameSummary, 2)},
		Missing:   map[int]string{1: noPreview},
	}
	decode := func(key string, text []byte, frames int) *pixels.Seen {
		if list := decode(key, text, []*shoot.Run{{Frames: make([]*shoot.Frame, frames)}}); list != nil {
			return list[0]
		}
		return nil
	}
	whole := encode(keyA, []*pixels.Seen{found})
	_, content, _ := bytes.Cut(whole, []byte("\n"))
	f.Add(keyA, whole, 2)
	f.Add(keyB, whole, 2)
	f.Add(keyA, whole, 3)
	f.Add(keyA, whole[:len(whole)-1], 2)
	f.Add(keyA, content, 2)
	f.Add(keyA, []byte(kept), 0)
	f.Add("", []byte(`{"Judgement":{"Frames":-1}}`), -1)
	f.Fuzz(func(t *testing.T, key string, text []byte, frames int) {
		frames = max(0, frames) // a run has no fewer
		// What encode would not write is not read, but for the order and the
		// spelling of JSON, for which a checksum that holds would be needed.
		if p := decode(key, text, frames); p != nil && !(p.Judgement.Frames == frames && bytes.HasPrefix(text, []byte(kept+checksum(key, string(after(text)))))) {
			t.Errorf("believed %q for %q", text, key)
		}
		sealed := append([]byte(kept+checksum(key, string(text))+"\n"), text...)
		p := decode(key, sealed, frames)
		if p != nil && (p.Judgement == nil || p.Judgement.Frames != frames || len(p.Judgement.PerFrame) != frames) {
			t.Errorf("believed %q for %d frames", sealed, frames)
		}
		if decode(key+"0", sealed, frames) != nil || decode(key, append(sealed, ' '), frames) != nil || len(text) > 0 && decode(key, sealed[:len(sealed)-1], frames) != nil {
			t.Errorf("believed another sequence's, or what was changed: %q", sealed)
		}
	})
}

func after(text []byte) []byte {
	_, content, _ := bytes.Cut(text, []byte("\n"))
	return content
}

// FuzzDisk holds that whatever lies in place of an entry is taken as a whole or not
// at all, and replaced only where it was kept by the program.
func FuzzDisk(f *testing.F) {
	f.Add([]byte{})
	f.Add(entryA)
	f.Add([]byte("picture"))
	f.Add([]byte(kept))
	f.Fuzz(func(t *testing.T, content []byte) {
		s := newShelf(t)
		name := filepath.Join(s.folder, keyA+entryEnd)
		put(t, name, content, keptFor+1)
		own := ours(content)
		if got, ok := s.Get(keyA); ok != own || ok && !bytes.Equal(got, content) {
			t.Errorf("%q of %q, %v", got, content, ok)
		}
		s.Put(keyA, entryB)
		got, ok := s.Get(keyA)
		if replaced := ok && bytes.Equal(got, entryB); replaced != (own || len(content) == 0) && !bytes.Equal(content, entryB) {
			t.Errorf("of %q, replaced: %v", content, replaced)
		}
	})
}
