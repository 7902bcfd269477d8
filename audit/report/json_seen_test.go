package report

import (
	"encoding/json"
	"testing"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
)

// TestJSONSeen: each answer of the pictures is written with its figure, or why there is none.
func TestJSONSeen(t *testing.T) {
	j := &pixels.Judgement{PerFrame: make([]pixels.FrameSummary, 1)}
	j.Held = pixels.Held{Verdict: pixels.Verdict{Answer: pixels.Found}, Shift: 2.5, Roll: 0.02}
	j.Views = pixels.Views{Verdict: pixels.Verdict{Answer: pixels.Fine}}
	j.Walk = pixels.Walk{Verdict: pixels.Verdict{Reason: pixels.ReasonTexture}}
	other := &audit.Reviewed{Sequence: &shoot.Sequence{ID: "1.4"}}
	q := sequenceModel{
		seen:     &pixels.Seen{Judgement: j, Behind: &pixels.GoingOn{Verdict: pixels.Verdict{Answer: pixels.Fine}, Steps: -12}},
		compared: []audit.Comparison{{With: other, Known: true, Same: true, Apart: 0.01}, {With: other, Apart: 0.08}},
	}
	got, err := json.Marshal(newJSONSeen(&q))
	if err != nil {
		t.Fatal(err)
	}
	want := `[{"question":"hand-held","answer":"yes","with":null,"measured":2.5,"unit":"px","reason":null},` +
		`{"question":"view-changes","answer":"no","with":null,"measured":0,"unit":"share","reason":null},` +
		`{"question":"focus-walks","answer":"not known","with":null,"measured":null,"unit":null,"reason":"too little texture, or too much noise"},` +
		`{"question":"goes-on","answer":"no","with":null,"measured":-12,"unit":"steps","reason":null},` +
		`{"question":"same-view","answer":"yes","with":"1.4","measured":0.01,"unit":"share","reason":null},` +
		`{"question":"same-view","answer":"not known","with":"1.4","measured":0.08,"unit":"share","reason":"the pictures do not show whether it is the same view"}]`
	if string(got) != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if got := newJSONSeen(&sequenceModel{}); got == nil || len(got) > 0 {
		t.Errorf("without pictures %v, want an empty list", got)
	}
}
