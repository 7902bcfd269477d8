package main

import (
	"context"

	"prestrike/audit"
	"prestrike/audit/pictures"
	"prestrike/audit/shoot"
	"prestrike/audit/slate"
)

// measurePictures has the pictures of an audit inspected, with a line that shows
// how far it is, unless quiet. What was found is kept unless noCache says
// otherwise. It returns what inspects them, nil where nothing does.
func measurePictures(c *console, quiet, noCache bool, folders []string, opt *audit.Options) *pictures.Measurer {
	if opt.Pixels == audit.PixelsOff {
		return nil
	}
	p := &pictures.Measurer{All: opt.Pixels == audit.PixelsOn}
	slates := &pictures.SlateReader{}
	if !noCache {
		if cache := pictureCache(c, quiet, folders); cache != nil {
			p.Cache, slates.Cache = cache, cache
		}
	}
	opt.Measure = measureWith(c, quiet, p)
	opt.Slates = slatesWith(c, quiet, slates, opt)
	return p
}

// slatesWith returns what an audit calls to have single frames searched for slates.
func slatesWith(c *console, quiet bool, p *pictures.SlateReader, opt *audit.Options) func(context.Context, []*shoot.Frame) (map[*shoot.Frame]audit.Slate, error) {
	return func(ctx context.Context, frames []*shoot.Frame) (map[*shoot.Frame]audit.Slate, error) {
		line := c.newProgress(quiet, "reading slates", "reading slates")
		defer line.end()
		p.Progress = line.tell
		read, err := p.Read(ctx, frames)
		names := map[string]string{}
		for _, v := range opt.Views {
			names[slate.Text(v.Name)] = v.Name
		}
		found := map[*shoot.Frame]audit.Slate{}
		for f, r := range read {
			name, ours := names[r.Text]
			found[f] = audit.Slate{View: name, Unread: r.Unread, Foreign: r.Text != "" && !ours}
		}
		return found, err
	}
}

// measureWith returns what an audit calls to have pictures inspected.
func measureWith(c *console, quiet bool, p *pictures.Measurer) func(context.Context, []*shoot.Run) ([]shoot.Seen, error) {
	return func(ctx context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
		defer collectPictures()()
		line := c.newProgress(quiet, "inspecting pictures", "inspecting pictures")
		line.tellLeft = true
		defer line.end()
		p.Progress = line.tell
		return p.Measure(ctx, runs)
	}
}

// pictureCache returns nil where there is no cache folder, or where it lies in an
// audited one.
func pictureCache(c *console, quiet bool, folders []string) *pictures.Disk {
	if c.cacheFolder == nil {
		return nil
	}
	base, err := c.cacheFolder()
	if err != nil {
		return nil
	}
	return pictures.NewDisk(base, folders, func(why error) {
		if !quiet {
			c.remark("%s", why)
		}
	})
}
