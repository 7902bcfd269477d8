package pictures

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
)

// version is changed whenever this package or exifread hands other pictures to
// audit/pixels, whose own changes pixels.Version shows.
const version = "prestrike pictures 7"

// A Cache keeps short texts by key: 64 hexadecimal digits. It may lose
// them at any time.
type Cache interface {
	Get(key string) ([]byte, bool)
	Put(key string, value []byte)
}

// measuring is what the answer depends on beside the frames: the code and the
// thresholds that are used.
func measuring(thresholds pixels.Thresholds) string {
	return fmt.Sprintf("%s\x00%s\x00%+v", version, pixels.Version(), thresholds)
}

// keyOf returns the key of a sequence with these frames, measured in this way.
func keyOf(measuring string, frames []string) string {
	return checksum(append([]string{measuring}, frames...)...)
}

// kept begins what is kept.
const kept = "prestrike pictures "

// encode writes what was found in the pictures of the runs with this key. It returns
// nil for what cannot be written.
func encode(key string, found []*pixels.Seen) []byte {
	text, err := json.Marshal(found)
	if err != nil {
		return nil
	}
	return sealed(key, text)
}

// decode returns nil for what was not written by encode for the runs with this
// key, of which these are the frames. Rules trust what they find in it.
func decode(key string, text []byte, runs []*shoot.Run) []*pixels.Seen {
	text, ok := unsealed(key, text)
	var found []*pixels.Seen
	if !ok || json.Unmarshal(text, &found) != nil || len(found) != len(runs) {
		return nil
	}
	frames := 0
	for i, s := range found {
		if s == nil || s.Judgement == nil || i == 0 && s.Behind != nil {
			return nil
		}
		if !together(runs[i], s) {
			frames = 0
		}
		if frames += len(runs[i].Frames); s.Judgement.Frames != frames || len(s.Judgement.PerFrame) != frames {
			return nil
		}
	}
	return found
}

// sealed puts a line with a checksum before a text that is kept under a key.
func sealed(key string, text []byte) []byte {
	return append([]byte(kept+checksum(key, string(text))+"\n"), text...)
}

// unsealed returns the text that was sealed for this key. What was kept under another key
// does not count, whatever its name has become: the key holds the frames, the code and the
// thresholds, and the checksum holds the key.
func unsealed(key string, text []byte) ([]byte, bool) {
	head, text, _ := bytes.Cut(text, []byte("\n"))
	return text, string(head) == kept+checksum(key, string(text))
}

// checksum returns the SHA-256 of texts, each behind its length, so that no two
// lists of texts have the same.
func checksum(texts ...string) string {
	h := sha256.New()
	for _, t := range texts {
		fmt.Fprintf(h, "%d\n%s", len(t), t)
	}
	return hex.EncodeToString(h.Sum(nil))
}
