package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"prestrike/audit/board"
)

// A rhythm is how a sound is heard: notes with the pauses before them. The bells have
// the same rhythm as the tones, so that one is known by the other.
type rhythm []note

// A note is one bell, or one tone of a pitch in Hz.
type note struct {
	after time.Duration // since the beginning of the note before
	hz    float64
}

const (
	beat  = 250 * time.Millisecond // terminals make one bell of those that come closer
	pause = 700 * time.Millisecond
)

// rhythms differ by the number of notes and by their groups: "good" is one bell, "inspect"
// two, "again" three, "stalled" twice two, "lost" twice three.
var rhythms = map[board.Sound]rhythm{
	board.SoundGood:    {{0, 880}},
	board.SoundDoubt:   {{0, 660}, {beat, 660}},
	board.SoundInspect: {{0, 660}, {beat, 660}},
	board.SoundStalled: {{0, 440}, {beat, 440}, {pause, 440}, {beat, 440}},
	board.SoundAgain:   {{0, 784}, {beat, 622}, {beat, 494}},
	board.SoundLost:    {{0, 330}, {beat, 330}, {beat, 330}, {pause, 330}, {beat, 330}, {beat, 330}},
	board.SoundBack:    {{0, 660}, {pause, 880}},
}

// A sounder makes the sounds of a watch, one after the other, beside the watch.
type sounder struct {
	bell  func()
	sleep func(context.Context, time.Duration)
	// player plays the file whose name follows; empty where bells sound in place of tones.
	player []string
	folder string // of the tones

	queue chan board.Sound
	ctx   context.Context
	stop  context.CancelFunc
	ended sync.WaitGroup

	mu     sync.Mutex
	failed error // of the player, once
}

// newSounder begins to make sounds. It waits by sleep, or by the system's clock where that
// is nil; guard is deferred by its goroutine.
func newSounder(bell func(), sleep func(context.Context, time.Duration), guard func()) *sounder {
	if sleep == nil {
		sleep = sleepFor
	}
	s := &sounder{bell: bell, sleep: sleep, queue: make(chan board.Sound, 4)}
	s.ctx, s.stop = context.WithCancel(context.Background())
	s.ended.Go(func() {
		defer guard()
		s.run()
	})
	return s
}

// sleepFor waits so long, or until the context ends.
func sleepFor(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// players are the programs of the systems that play a file of sound. The first that is
// there is used.
func players() [][]string {
	switch runtime.GOOS {
	case "darwin":
		return [][]string{{"afplay"}}
	case "windows":
		return nil // bells are sounds of the system there
	}
	return [][]string{{"pw-play"}, {"paplay"}, {"aplay", "-q"}}
}

// useTones writes the tones to a folder for the time of the watch, and has them played by
// the first of the players that is there.
func (s *sounder) useTones(players [][]string) error {
	for _, p := range players {
		path, err := exec.LookPath(p[0])
		if err != nil {
			continue
		}
		folder, err := os.MkdirTemp("", "prestrike-tones-")
		if err != nil {
			return err
		}
		for sound, r := range rhythms {
			if err := os.WriteFile(toneFile(folder, sound), r.wav(), 0o600); err != nil {
				_ = os.RemoveAll(folder)
				return err
			}
		}
		s.folder, s.player = folder, append([]string{path}, p[1:]...)
		return nil
	}
	return exec.ErrNotFound
}

func toneFile(folder string, sound board.Sound) string {
	return filepath.Join(folder, fmt.Sprintf("tone-%d.wav", sound))
}

// make has a sound heard. What comes faster than it can be heard is left out.
func (s *sounder) make(sound board.Sound) {
	select {
	case s.queue <- sound:
	default:
	}
}

func (s *sounder) run() {
	for {
		select {
		case <-s.ctx.Done():
			return
		case sound := <-s.queue:
			if !s.play(sound) {
				s.ring(rhythms[sound])
			}
			s.sleep(s.ctx, pause) // two sounds stay two
		}
	}
}

// ring sounds the bell in a rhythm.
func (s *sounder) ring(r rhythm) {
	for _, n := range r {
		if n.after > 0 {
			s.sleep(s.ctx, n.after)
		}
		if s.ctx.Err() != nil {
			return
		}
		s.bell()
	}
}

// playedWithin is how long a player may take; the longest tones take 2 s.
const playedWithin = 6 * time.Second

// play plays the tones of a sound, and reports whether they could be played.
func (s *sounder) play(sound board.Sound) bool {
	s.mu.Lock()
	failed := s.failed
	s.mu.Unlock()
	if len(s.player) == 0 || failed != nil {
		return false
	}
	ctx, cancel := context.WithTimeout(s.ctx, playedWithin)
	defer cancel()
	cmd := exec.CommandContext(ctx, s.player[0], append(append([]string{}, s.player[1:]...), toneFile(s.folder, sound))...)
	cmd.WaitDelay = time.Second
	err := cmd.Run()
	if err == nil || s.ctx.Err() != nil {
		return true
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.failed = err
	return false
}

// failure returns why tones could not be played; nil where they could.
func (s *sounder) failure() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.failed
}

// end ends what sounds, and removes the tones.
func (s *sounder) end() {
	s.stop()
	s.ended.Wait()
	if s.folder != "" {
		_ = os.RemoveAll(s.folder) // it lies in the system's folder for what is temporary
	}
}

// wav writes the rhythm as a file of sound: RIFF/WAVE, PCM of 16 bits, one channel, 22,050
// samples a second (Multimedia Programming Interface and Data Specifications 1.0, IBM and
// Microsoft, 1991). Each tone is a sine that fades, so that it begins and ends without a click.
func (r rhythm) wav() []byte {
	const (
		rate      = 22050
		loudness  = 0.5 * math.MaxInt16
		rise      = 0.01 // s
		fade      = 0.12 // s, to a third
		lastsFor  = 400 * time.Millisecond
		formatPCM = 1
		channels  = 1
		bytesEach = 2
		headBytes = 36 // of all behind the first size but the samples
	)
	var starts []time.Duration
	at := time.Duration(0)
	for _, n := range r {
		at += n.after
		starts = append(starts, at)
	}
	samples := make([]float64, int((at+lastsFor).Seconds()*rate))
	for i, n := range r {
		from := int(starts[i].Seconds() * rate)
		for k := from; k < min(len(samples), from+int(lastsFor.Seconds()*rate)); k++ {
			t := float64(k-from) / rate
			left := lastsFor.Seconds() - t
			level := min(1, t/rise) * math.Exp(-t/fade) * min(1, left/rise)
			samples[k] += level * math.Sin(2*math.Pi*n.hz*t)
		}
	}
	var b bytes.Buffer
	le := binary.LittleEndian
	size := uint32(len(samples) * bytesEach)
	b.WriteString("RIFF")
	b.Write(le.AppendUint32(nil, headBytes+size))
	b.WriteString("WAVEfmt ")
	b.Write(le.AppendUint32(nil, 16))
	for _, v := range []uint16{formatPCM, channels} {
		b.Write(le.AppendUint16(nil, v))
	}
	b.Write(le.AppendUint32(nil, rate))
	b.Write(le.AppendUint32(nil, rate*channels*bytesEach))
	for _, v := range []uint16{channels * bytesEach, 8 * bytesEach} {
		b.Write(le.AppendUint16(nil, v))
	}
	b.WriteString("data")
	b.Write(le.AppendUint32(nil, size))
	for _, v := range samples {
		b.Write(le.AppendUint16(nil, uint16(int16(max(-1, min(1, v))*loudness))))
	}
	return b.Bytes()
}
