package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/makiuchi-d/gozxing/qrcode/decoder"
	"github.com/makiuchi-d/gozxing/qrcode/encoder"

	"prestrike/audit"
	"prestrike/audit/board"
	"prestrike/audit/pictures"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/tablet"
)

// pageHere is where the page of a watch is without an address: on this computer alone.
const pageHere = "127.0.0.1:8140"

// Sizes of the pictures of the page: long sides in pixels, and the most bytes.
const (
	newestLong, newestBytes = 1280, 160 << 10
	closedLong, closedBytes = 480, 40 << 10
	decidingBytes           = 120 << 10
)

// A tabletPage is the page of a watch.
type tabletPage struct {
	server *tablet.Server
	site   *pageSite
	// latest is what was audited last, with the edition of the settings it was judged by.
	latest atomic.Pointer[inspected]
	live   *audit.Live
	edits  *edits // nil for a page that is for reading alone
	// quick makes what is needed at once, slow whole sequences.
	quick, slow lane
	proofs      pictures.Cache
}

// An inspected is a result that pages show.
type inspected struct {
	audit.Result
	edition string
}

// A lane makes one picture at a time.
type lane struct {
	mu      sync.Mutex
	gallery *gallery
}

// A pageSite is where a page is served.
type pageSite struct {
	listener net.Listener
	access   tablet.Access
	links    []string // the first is the one to open
	writes   bool     // those who open it may declare something
	local    bool     // it is for this computer alone
}

// listenPage listens at an address for those who open a page of something, such as a
// folder. A page that writes is opened by its link alone, also on this computer.
func listenPage(ctx context.Context, c *console, address, of string, writes bool) (*pageSite, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err // a flag has been read by then
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		if name, is := errors.AsType[*net.DNSError](err); is {
			return nil, fmt.Errorf("the page cannot be at %s: no network knows the name %s: write the address of this computer, or --page=:%s for all its networks", report.Visible(address), report.Visible(name.Name), port)
		}
		return nil, fmt.Errorf("the page cannot be at %s: %w: name another address with --page=HOST:PORT", report.Visible(address), systemWords(err))
	}
	at, ok := l.Addr().(*net.TCPAddr)
	if !ok {
		_ = l.Close() // it is not used
		return nil, fmt.Errorf("the page cannot be at %s: name another address with --page=HOST:PORT", report.Visible(address))
	}
	s := &pageSite{listener: l, access: tablet.Access{Guard: c.guard}}
	hosts := hostsOf(host, at)
	for _, h := range hosts {
		s.access.Hosts = append(s.access.Hosts, net.JoinHostPort(h, strconv.Itoa(at.Port)))
	}
	path := "/"
	s.writes, s.local = writes, at.IP.IsLoopback()
	if writes {
		of += " to write" // whoever was given the link of a page for reading has another
	}
	// Others who use this computer may read the page there, but not write.
	if !s.local || writes {
		s.access.Token = pageToken(c, of, address)
		path += "?key=" + s.access.Token
	}
	for _, h := range s.access.Hosts {
		s.links = append(s.links, "http://"+h+path)
	}
	if at.Port == 80 { // browsers leave it out
		s.access.Hosts = append(s.access.Hosts, hosts...)
	}
	return s, nil
}

// newTabletPage listens at an address for those who open the page of a watch.
func newTabletPage(ctx context.Context, c *console, address, folder string, live *audit.Live, edits *edits) (*tabletPage, error) {
	abs, err := filepath.Abs(folder)
	if err != nil {
		return nil, err
	}
	site, err := listenPage(ctx, c, address, abs, edits != nil)
	if err != nil {
		return nil, err
	}
	t := &tabletPage{live: live, site: site, edits: edits}
	if disk := pictureCache(c, true, []string{folder}); disk != nil {
		t.proofs = disk
	}
	none := func() {}
	t.quick.gallery, t.slow.gallery = newGallery(ctx, nil, none), newGallery(ctx, t.proofs, none)
	opt := tablet.Options{Access: site.access, Gallery: t}
	if edits != nil {
		opt.Writer = t
	}
	t.server = tablet.New(opt)
	return t, nil
}

// hostsOf lists the names by which a listener is reached, the best first.
func hostsOf(asked string, at *net.TCPAddr) []string {
	var list []string
	add := func(h string) {
		if h != "" && !slices.Contains(list, h) {
			list = append(list, h)
		}
	}
	if !at.IP.IsUnspecified() {
		if net.ParseIP(asked) == nil {
			add(strings.ToLower(asked))
		}
		add(at.IP.String())
		if at.IP.IsLoopback() {
			add("localhost")
		}
		return list
	}
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		addresses = nil // this computer's own remains
	}
	var found []netip.Addr
	for _, a := range addresses {
		if p, err := netip.ParsePrefix(a.String()); err == nil && p.Addr().IsGlobalUnicast() {
			found = append(found, p.Addr())
		}
	}
	// The addresses of a studio's own network, and the short ones, first.
	slices.SortStableFunc(found, func(a, b netip.Addr) int {
		rank := func(x netip.Addr) int {
			switch {
			case x.Is4() && x.IsPrivate():
				return 0
			case x.Is4():
				return 1
			}
			return 2
		}
		return cmp.Compare(rank(a), rank(b))
	})
	for _, a := range found {
		add(a.String())
	}
	if name, err := os.Hostname(); err == nil {
		add(strings.ToLower(name))
		add(strings.ToLower(name) + ".local")
	}
	add("localhost")
	add("127.0.0.1")
	return list
}

// tokenName is the name of a file that keeps a token.
var tokenName = regexp.MustCompile(`^[0-9a-f]{32}\.key$`)

// pageToken returns what opens the page of something at an address. It is kept in the user's
// cache folder, so that a tablet stays known when the watch is started again.
func pageToken(c *console, of, address string) string {
	fresh := base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(random(15))
	if c.cacheFolder == nil {
		return fresh
	}
	base, err := c.cacheFolder()
	if err != nil {
		return fresh // it holds until the watch ends
	}
	at := filepath.Join(base, "prestrike", "page-keys")
	if err := os.MkdirAll(at, 0o700); err != nil {
		return fresh // it holds until the watch ends
	}
	deleteOld(at, tokenName, 10*pageKept)
	sum := sha256.Sum256(fmt.Appendf(nil, "%q %q", of, address))
	name := filepath.Join(at, fmt.Sprintf("%x.key", sum[:16]))
	if kept, err := os.ReadFile(name); err == nil && len(kept) == len(fresh) {
		return string(kept)
	}
	if err := os.WriteFile(name, []byte(fresh), 0o600); err != nil {
		return fresh // it holds until the watch ends
	}
	return fresh
}

func random(n int) []byte {
	b := make([]byte, n)
	_, _ = rand.Read(b) // it never fails: crypto/rand ends the program first
	return b
}

// serve answers until ctx ends.
func (t *tabletPage) serve(ctx context.Context) error { return t.server.Serve(ctx, t.site.listener) }

// show hands on the state of the set, with what was audited.
func (t *tabletPage) show(state *board.State) {
	// The watch changes how much time is left in its result.
	latest := &inspected{Result: *t.live.Result()}
	if t.edits != nil {
		standing := t.edits.standing(state.At)
		latest.edition = standing.Edition
		t.server.Stand(standing)
	}
	t.latest.Store(latest)
	t.server.Show(state)
}

// announce writes where a page is, with a code for tablets where it is not for this computer
// alone.
func (s *pageSite) announce(c *console, what string) {
	link := s.links[0]
	c.remark("%s is at %s", what, link)
	may := "can see the page"
	if s.writes {
		may = "can see the page and write to prestrike.toml"
	}
	if s.local || !c.errTerminal || c.plain {
		if s.writes {
			c.remark("whoever has the link %s", may)
		}
		return
	}
	if code, err := terminalCode(link); err == nil { // else the link is there
		c.say(code)
	}
	c.remark("whoever has the link or the code %s; what goes over the network is not encrypted: see the README", may)
}

// terminalCode draws a text as a QR code of half blocks, black on white whatever the
// colours of the terminal, with the quiet zone of four modules (ISO/IEC 18004).
func terminalCode(text string) ([]byte, error) {
	code, err := encoder.Encoder_encode(text, decoder.ErrorCorrectionLevel_L, nil)
	if err != nil {
		return nil, err
	}
	m, quiet := code.GetMatrix(), 4
	dark := func(x, y int) bool {
		x, y = x-quiet, y-quiet
		return x >= 0 && y >= 0 && x < m.GetWidth() && y < m.GetHeight() && m.Get(x, y) == 1
	}
	var b bytes.Buffer
	for y := 0; y < m.GetHeight()+2*quiet; y += 2 {
		b.WriteString("\x1b[38;5;16;48;5;231m")
		for x := range m.GetWidth() + 2*quiet {
			switch top, low := dark(x, y), dark(x, y+1); {
			case top && low:
				b.WriteRune('█')
			case top:
				b.WriteRune('▀')
			case low:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.Bytes(), nil
}

// sequence returns the sequence whose first frame has a path; nil where there is none.
func (t *tabletPage) sequence(key string) *audit.Reviewed {
	result := t.latest.Load()
	if result == nil {
		return nil
	}
	for _, s := range slices.Backward(result.Sessions) {
		for _, q := range slices.Backward(s.Sequences) {
			if q.Frames[0].Path() == key {
				return q
			}
		}
	}
	return nil
}

// frame returns the frame that has a file of a path; nil where there is none.
func (t *tabletPage) frame(path string) *shoot.Frame {
	result := t.latest.Load()
	if result == nil {
		return nil
	}
	for _, s := range slices.Backward(result.Sessions) {
		for _, q := range slices.Backward(s.Sequences) {
			for _, f := range slices.Backward(q.Frames) {
				if slices.ContainsFunc(f.Files, func(file *shoot.File) bool { return file.Path == path }) {
					return f
				}
			}
		}
	}
	return nil
}

// Newest implements [tablet.Gallery].
func (t *tabletPage) Newest(path string) (*report.Picture, error) {
	f := t.frame(path)
	if f == nil {
		return nil, tablet.ErrNotYet
	}
	t.quick.mu.Lock()
	defer t.quick.mu.Unlock()
	return t.quick.gallery.Whole(f, newestLong, newestBytes)
}

// Deciding implements [tablet.Gallery].
func (t *tabletPage) Deciding(key, rule string) (*report.Picture, error) {
	q := t.sequence(key)
	if q == nil {
		return nil, tablet.ErrNotYet
	}
	i := slices.IndexFunc(q.Findings, func(f *audit.Finding) bool { return f.Rule == rule && !f.Accepted && !f.Closed })
	if i < 0 {
		return nil, tablet.ErrNotYet
	}
	t.quick.mu.Lock()
	defer t.quick.mu.Unlock()
	return report.Deciding(q, q.Findings[i], t.quick.gallery, decidingBytes), nil
}

// Closed implements [tablet.Gallery].
func (t *tabletPage) Closed(key string) (*report.Picture, error) {
	q := t.sequence(key)
	if q == nil {
		return nil, tablet.ErrNotYet
	}
	t.slow.mu.Lock()
	defer t.slow.mu.Unlock()
	if p, err := t.slow.gallery.Proof(q, closedLong, closedBytes); err == nil && p != nil && p.Picture != nil {
		return p.Picture, nil
	}
	return t.slow.gallery.Whole(q.Frames[len(q.Frames)/2], closedLong, closedBytes)
}

// WriteSequence implements [tablet.Gallery].
func (t *tabletPage) WriteSequence(ctx context.Context, w io.Writer, key string) error {
	result := t.latest.Load()
	if result == nil {
		return report.ErrGone
	}
	t.slow.mu.Lock()
	defer t.slow.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err // who asked has gone
	}
	return report.WriteSequence(w, &result.Result, key, &report.Options{Gallery: newGallery(ctx, t.proofs, func() {})})
}
