// Package slate makes and reads the codes on slates: cards that are photographed
// before a view and name it. A code is a QR code (ISO/IEC 18004) of one version,
// with a short text that no other code carries.
//
// Pictures go in, texts come out: nothing here knows files or sequences.
package slate

import (
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"strings"

	"golang.org/x/text/unicode/norm"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode/decoder"
	"github.com/makiuchi-d/gozxing/qrcode/encoder"
)

// The code of every slate: version 3 (29 modules a side) with error correction H,
// the most that fits a text of this length in modules large enough to be read from
// a tenth of the picture's width.
const (
	version = 3
	// Modules is the number of modules along each side of a code.
	Modules = 17 + 4*version
	// QuietZone is the white margin that a code needs on every side, in modules
	// (ISO/IEC 18004: four).
	QuietZone = 4

	prefix      = "SLATE 1 "
	keyLength   = 13 // characters of 5 bits
	checkLength = 5
)

// Text returns the text of the code for a view: a prefix, a key that is made from
// the name, and check characters. Names that differ only in case, in blanks or in
// the way that letters with marks are composed have one text.
func Text(view string) string {
	name := strings.Join(strings.Fields(strings.ToLower(norm.NFC.String(view))), " ")
	body := prefix + digest("view " + name)[:keyLength]
	return body + " " + digest("check " + body)[:checkLength]
}

// Valid reports whether text has the form that [Text] gives, with the right check
// characters.
func Valid(text string) bool {
	body, check := text[:max(0, len(text)-checkLength-1)], text[max(0, len(text)-checkLength-1):]
	return strings.HasPrefix(body, prefix) && len(body) == len(prefix)+keyLength && check == " "+digest("check " + body)[:checkLength]
}

func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return base32.StdEncoding.EncodeToString(sum[:])
}

// Code returns the modules of the code for a view, row by row from the top; true is
// dark.
func Code(view string) ([][]bool, error) {
	code, err := encoder.Encoder_encode(Text(view), decoder.ErrorCorrectionLevel_H, map[gozxing.EncodeHintType]any{
		gozxing.EncodeHintType_QR_VERSION: version,
	})
	if err != nil {
		return nil, fmt.Errorf("cannot make a code for the view %q: %w", view, err)
	}
	m := code.GetMatrix()
	rows := make([][]bool, m.GetHeight())
	for y := range rows {
		rows[y] = make([]bool, m.GetWidth())
		for x := range rows[y] {
			rows[y][x] = m.Get(x, y) == 1
		}
	}
	return rows, nil
}
