package rules

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
)

// picturesVersion is changed whenever the same pictures may be judged otherwise.
const picturesVersion = "prestrike pictures 4"

// keyOf returns the key of a sequence with these frames.
func keyOf(frames []string) string {
	h := sha256.New()
	h.Write([]byte(picturesVersion))
	for _, f := range frames {
		h.Write([]byte{1})
		h.Write([]byte(f))
	}
	return hex.EncodeToString(h.Sum(nil))
}

// encodePictures writes what was found in a sequence's pictures: a line with the
// checksum of the rest, then JSON. It returns nil for what cannot be written.
func encodePictures(p *picturesOf) []byte {
	text, err := json.Marshal(p)
	if err != nil {
		return nil
	}
	return append([]byte(checksum(text)+"\n"), text...)
}

// decodePictures returns nil for what was not written by encodePictures for a
// sequence of so many frames. Rules trust what they find in it: the place of a
// frame that lies outside would end the program.
func decodePictures(text []byte, frames int) *picturesOf {
	sum, text, _ := bytes.Cut(text, []byte("\n"))
	p := new(picturesOf)
	if string(sum) != checksum(text) || json.Unmarshal(text, p) != nil || p.Judgement == nil || p.Judgement.Frames != frames {
		return nil
	}
	return p
}

func checksum(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
