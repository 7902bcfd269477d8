package report

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
)

// A Gallery makes the pictures of a page, one at a time, as the page is written. Each call
// is given the most bytes that the picture may take. An error is in a few words why
// there is no picture, for the reader of the page.
type Gallery interface {
	// Whole returns the whole picture of a frame, as it is shown, with a long side of at
	// most this many pixels.
	Whole(f *shoot.Frame, long, bytes int) (*Picture, error)
	// Detail returns the part of a frame around the middle of a region, at 100 %: of the
	// largest picture that can be decoded, at most this many pixels wide and high.
	Detail(f *shoot.Frame, at audit.Region, width, height, bytes int) (*Picture, error)
	// Sharpest returns the region of a frame, of a width and height in pixels, that is sharpest.
	Sharpest(f *shoot.Frame, width, height int) (audit.Region, error)
	// Proof returns a sequence as one picture; nil where its first frame serves as well.
	Proof(q *audit.Reviewed, long, bytes int) (*Proof, error)
}

// A Picture is a picture to be shown.
type Picture struct {
	Type          string // "image/jpeg" or "image/png"
	Data          []byte
	Width, Height int // pixels, upright
	// Name is what the picture shows, a frame's label; empty where the caller knows.
	Name string
	// Of is the long side of the picture that it was made from, pixels; 0 for a proof.
	Of int
}

// A Proof is a sequence as one picture, for inspection only.
type Proof struct {
	Picture *Picture
	Caption string   // how it was made, one sentence
	Words   []string // what it shows, one sentence each
	// Map shows what the words describe, place by place; nil where there is none. Key
	// explains it.
	Map *Picture
	Key []ProofKey
	// Best are small pictures of the frames that are recommended, best first.
	Best []*Picture
}

// A ProofKey is one entry of the key of a map.
type ProofKey struct {
	Sample *Picture
	Words  string
}

// PictureCount is how many pictures a page has.
type PictureCount uint8

// How many pictures a page has.
const (
	FewPictures PictureCount = iota // those of findings, and some of each sequence
	AllPictures                     // those of all frames beside
	NoPictures
)
