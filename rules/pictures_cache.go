package rules

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
)

// picturesVersion is changed whenever the same pictures may be judged otherwise.
const picturesVersion = "prestrike pictures 2"

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

// encodePictures returns nil for what cannot be written.
func encodePictures(p *picturesOf) []byte {
	text, err := json.Marshal(p)
	if err != nil {
		return nil
	}
	return text
}

// decodePictures returns nil for what was not written by encodePictures.
func decodePictures(text []byte) *picturesOf {
	p := new(picturesOf)
	if json.Unmarshal(text, p) != nil || p.Judgement == nil || len(p.Judgement.PerFrame) != p.Judgement.Frames {
		return nil
	}
	return p
}
