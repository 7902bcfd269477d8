package main

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit/board"
)

// heard returns how a sound is heard by its bells: "." for a bell, the milliseconds
// between two.
func heard(sound board.Sound) string {
	var text strings.Builder
	sleep := func(_ context.Context, d time.Duration) { fmt.Fprint(&text, d.Milliseconds()) }
	s := newSounder(func() { text.WriteByte('.') }, sleep, func() {})
	defer s.end()
	s.ring(rhythms[sound])
	return text.String()
}

// By their bells alone, what is good, to be inspected, stalled, to be shot again and lost
// are known apart.
func TestSoundsDiffer(t *testing.T) {
	want := map[board.Sound]string{
		board.SoundGood: ".", board.SoundInspect: ".250.", board.SoundDoubt: ".250.", board.SoundAgain: ".250.250.",
		board.SoundStalled: ".250.700.250.", board.SoundLost: ".250.250.700.250.250.", board.SoundBack: ".700.",
	}
	for sound, rhythm := range want {
		if got := heard(sound); got != rhythm {
			t.Errorf("sound %d is %q, want %q", sound, got, rhythm)
		}
	}
	if len(rhythms) != len(want) {
		t.Errorf("%d sounds, want %d", len(rhythms), len(want))
	}
}

// The tones are files of sound as the format asks for, and no louder than it allows.
func TestTones(t *testing.T) {
	for sound, r := range rhythms {
		data := r.wav()
		le := binary.LittleEndian
		if string(data[:4]) != "RIFF" || string(data[8:16]) != "WAVEfmt " || int(le.Uint32(data[4:])) != len(data)-8 || int(le.Uint32(data[40:])) != len(data)-44 {
			t.Fatalf("sound %d: the head is % x", sound, data[:44])
		}
		if rate, each := le.Uint32(data[24:]), le.Uint16(data[32:]); le.Uint32(data[28:]) != rate*uint32(each) {
			t.Errorf("sound %d: %d bytes a second, want %d times %d", sound, le.Uint32(data[28:]), rate, each)
		}
		var peak, first int16
		for at := 44; at < len(data); at += 2 {
			v := int16(le.Uint16(data[at:]))
			peak = max(peak, v)
			if at == 44 {
				first = v
			}
		}
		if peak < 10_000 || peak > 17_000 || first != 0 {
			t.Errorf("sound %d: peak %d, first sample %d", sound, peak, first)
		}
	}
}

// Tones are played by the first program that is there, and are gone with the watch; where
// none is there or it fails, the bell sounds.
func TestTonesArePlayed(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no scripts")
	}
	folder := t.TempDir()
	t.Setenv("PATH", folder+string(os.PathListSeparator)+os.Getenv("PATH"))
	played := filepath.Join(folder, "played")
	for name, script := range map[string]string{"worksplayer": "echo \"$@\" >> " + played, "failsplayer": "exit 1"} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte("#!/bin/sh\n"+script+"\n"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	bells := 0
	s := newSounder(func() { bells++ }, nil, func() {})
	if err := s.useTones([][]string{{"no-such-player"}, {"worksplayer", "-q"}}); err != nil {
		t.Fatal(err)
	}
	if !s.play(board.SoundAgain) {
		t.Error("it was not played")
	}
	text, err := os.ReadFile(played)
	if err != nil || string(text) != "-q "+toneFile(s.folder, board.SoundAgain)+"\n" {
		t.Errorf("played %q, %v", text, err)
	}
	tones := s.folder
	s.player = []string{filepath.Join(folder, "failsplayer")}
	if s.play(board.SoundAgain) || s.failure() == nil {
		t.Error("a player that fails is no failure")
	}
	s.end()
	if _, err := os.Stat(tones); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the tones are still there: %v", err)
	}
	s = newSounder(func() {}, nil, func() {})
	defer s.end()
	if err := s.useTones([][]string{{"no-such-player"}}); err == nil {
		t.Error("a player that is not there is found")
	}
	if !slices.ContainsFunc(players(), func(p []string) bool { return len(p) > 0 }) && runtime.GOOS == "linux" {
		t.Error("no players are known")
	}
}
