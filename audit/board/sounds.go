package board

import "time"

// A Sound is what is to be heard of a set.
type Sound uint8

// The sounds, in the order of their urgency.
const (
	Silence      Sound = iota
	SoundGood          // a sequence is good: move on
	SoundDoubt         // a sequence that closed must be inspected
	SoundBack          // a folder can be read again
	SoundInspect       // something to be inspected is certain while frames come
	SoundStalled       // frames stopped coming
	SoundAgain         // shoot again
	SoundLost          // a folder cannot be read
)

// RepeatEvery is how often what must be shot again, and a loss, sound until they are
// silenced or settled.
const RepeatEvery = 20 * time.Second

// sounds are what waits to be heard.
type sounds struct {
	due  Sound
	last time.Time // when something sounded that repeats
}

// next has a sound heard, unless a more urgent one waits.
func (s *sounds) next(sound Sound) { s.due = max(s.due, sound) }

// Sound returns what is to be heard now, and counts it as heard: the most urgent of what
// happened since the last call, or once more what goes on and was not silenced.
func (s *Set) Sound(now time.Time) Sound {
	sound := s.sounds.due
	s.sounds.due = Silence
	if sound < SoundAgain && !s.silenced && now.Sub(s.sounds.last) >= RepeatEvery {
		s.refresh(now)
		s.unsettled()
		switch phase, _ := s.about(s.live.Open()); phase {
		case Lost:
			sound = SoundLost
		case Again:
			sound = SoundAgain
		}
	}
	if sound >= SoundAgain {
		s.sounds.last = now
	}
	return sound
}
