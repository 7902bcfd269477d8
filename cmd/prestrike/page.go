package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/pictures"
	"prestrike/audit/pixels"
	"prestrike/audit/report"
	"prestrike/audit/shoot"

	"github.com/spf13/cobra"
)

// pictureCounts are the words of --pictures.
var pictureCounts = map[string]report.PictureCount{"none": report.NoPictures, "few": report.FewPictures, "all": report.AllPictures}

// asPage checks the flags of the page before any work is done, and finds the file for one
// that is to be opened.
func (f *reportFlags) asPage(cmd *cobra.Command, c *console, folders []string) error {
	changed := cmd.Flags().Changed
	switch {
	case f.open && changed("format") && f.format != "html":
		return &usageError{errors.New("--open shows a page: leave --format out"), cmd.CommandPath()}
	case f.open && f.file == "-":
		return &usageError{errors.New("--open needs a file: leave -o out, or name one"), cmd.CommandPath()}
	case f.open:
		f.format = "html"
	case changed("pictures") && f.format != "html":
		return &usageError{errors.New("--pictures is for a page: write --format html as well"), cmd.CommandPath()}
	}
	if !f.open || f.file != "" {
		return nil
	}
	file, err := cachedPage(c, folders)
	f.file = file
	return err
}

// hasPictures reports whether the report shows pictures.
func (f *reportFlags) hasPictures() bool { return f.format == "html" && f.show != "none" }

// proofCache returns where finished proofs are kept; nil for nowhere.
func (f *reportFlags) proofCache(c *console, folders []string) pictures.Cache {
	if f.noCache {
		return nil
	}
	if disk := pictureCache(c, true, folders); disk != nil {
		return disk
	}
	return nil
}

// openPage opens the page in the reader's browser, where that was asked for, or says where
// it is.
func (f *reportFlags) openPage(c *console, file string) {
	if !f.open {
		return
	}
	abs, err := filepath.Abs(file)
	if err == nil {
		err = c.open(abs)
	}
	if err != nil {
		c.remark("the page could not be opened (%v): open %s in a browser", systemWords(err), file)
	}
}

// A gallery makes the pictures of a page. Nothing is read before the page asks for it.
type gallery struct {
	ctx    context.Context
	maker  *pictures.Maker
	prover *pictures.Prover
	proofs map[*audit.Reviewed]*pictures.Proof // the last made
	made   func()                              // is called for each picture
}

// The size of a sample in the key of a map, pixels of the page.
const keyWidth, keyHeight = 48, 24

// mostProofs is how many proofs are kept at hand, of half a megabyte at most: a page shows
// each twice.
const mostProofs = 32

// newGallery returns what makes the pictures of a page until ctx ends. Finished proofs are
// kept in the cache; nil for none.
func newGallery(ctx context.Context, cache pictures.Cache, made func()) *gallery {
	return &gallery{
		ctx: ctx, maker: pictures.NewMaker(ctx), prover: &pictures.Prover{Cache: cache},
		proofs: map[*audit.Reviewed]*pictures.Proof{}, made: made,
	}
}

// Whole implements [report.Gallery].
func (g *gallery) Whole(f *shoot.Frame, long, bytes int) (*report.Picture, error) {
	g.made()
	return toShow(g.maker.Whole(f, long, bytes))
}

// Detail implements [report.Gallery].
func (g *gallery) Detail(f *shoot.Frame, at audit.Region, width, height, bytes int) (*report.Picture, error) {
	g.made()
	return toShow(g.maker.Detail(f, pixels.Box(at), width, height, bytes))
}

// Sharpest implements [report.Gallery].
func (g *gallery) Sharpest(f *shoot.Frame, width, height int) (audit.Region, error) {
	box, err := g.maker.Sharpest(f, width, height)
	return audit.Region(box), err
}

// Proof implements [report.Gallery].
func (g *gallery) Proof(q *audit.Reviewed, long, bytes int) (*report.Proof, error) {
	if q.Kind == shoot.Single {
		return nil, nil // the frame itself serves
	}
	made := g.proofs[q]
	if made == nil {
		var err error
		if made, err = g.prover.Prove(g.ctx, q.Sequence, q.Pictures); err != nil {
			return nil, err
		}
		if len(g.proofs) >= mostProofs {
			clear(g.proofs)
		}
		g.proofs[q] = made
		g.made()
	}
	if len(made.Picture) == 0 {
		return nil, nil
	}
	shown, err := toShow(pictures.Refit(made.Picture, long, bytes))
	if err != nil {
		return nil, err
	}
	out := &report.Proof{Picture: shown, Caption: made.Caption, Words: made.Notes}
	if text := clippedWords(made.Ends); text != "" {
		out.Words = append(slices.Clone(out.Words), text)
	}
	if len(made.Map) > 0 {
		out.Map = &report.Picture{Type: "image/png", Data: made.Map, Width: made.Width, Height: made.Height}
		for _, k := range made.Key {
			out.Key = append(out.Key, report.ProofKey{Sample: &report.Picture{Type: "image/png", Data: k.Sample, Width: keyWidth, Height: keyHeight}, Words: k.Text})
		}
	}
	if q.Kind == shoot.Burst {
		for _, s := range made.Small {
			out.Best = append(out.Best, &report.Picture{Type: "image/jpeg", Data: s.Picture, Width: s.Width, Height: s.Height, Name: s.Label})
		}
	}
	return out, nil
}

// clippedWords lists the shares of frames at both ends of the scale; empty for none.
func clippedWords(ends []pictures.FrameEnds) string {
	var list []string
	for _, e := range ends {
		list = append(list, fmt.Sprintf("%s %.2g %% and %.2g %%", e.Label, math.Round(1000*e.Low)/10, math.Round(1000*e.High)/10))
	}
	if len(list) == 0 {
		return ""
	}
	return "Clipped in the shadows and in the highlights, of these previews: " + strings.Join(list, "; ") + "."
}

// toShow hands a picture on.
func toShow(s *pictures.Shown, err error) (*report.Picture, error) {
	if err != nil {
		return nil, err
	}
	return &report.Picture{Type: "image/jpeg", Data: s.JPEG, Width: s.Width, Height: s.Height, Of: s.Long}, nil
}
