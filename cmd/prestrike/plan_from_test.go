package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/exifread"
	"prestrike/rules"
)

// planFrom runs prestrike plan and returns its exit status and what it prints.
func planFrom(t *testing.T, args ...string) (status int, out, said string) {
	t.Helper()
	var o, e bytes.Buffer
	status = run(t.Context(), append([]string{"plan"}, args...), &console{out: &o, err: &e, width: 100})
	return status, o.String(), e.String()
}

// TestPlanFrom plans from a rendered test run: the relief is 24 px of blur deep, in a
// picture 576 px wide.
func TestPlanFrom(t *testing.T) {
	pixelstest.Long(t)
	camera := picturestest.Camera{Every: 1300 * time.Millisecond}
	covering := camera.Shoot(t, picturestest.Covering())
	const truth = 24 * 1.24 / 23 * 1600 / 576 // px a frame, of a picture 1,600 wide
	status, out, said := planFrom(t, "--from", covering, "--setting", "9", "--format", "json")
	if status != statusGood {
		t.Fatalf("status %d: %s", status, said)
	}
	var got struct {
		Growth struct{ Value, Low, High float64 } `json:"blur_growth_px"`
		Set    *int                               `json:"planned_setting"`
		Frames int
		Least  bool     `json:"frames_are_least"`
		Step   *float64 `json:"focus_step_mm"`
		Why    *string  `json:"focus_step_unknown"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.Growth.Value/truth-1) > 0.15 || got.Growth.Low > truth || got.Growth.High < truth {
		t.Errorf("growth %+v, want %.2f", got.Growth, truth)
	}
	if want := int(9 * 3 / got.Growth.Value); got.Set == nil || *got.Set != want {
		t.Errorf("setting %v, want %d", got.Set, want)
	}
	// 24 px of 576 are 67 of 1,600, which 23 steps of under 3 px cover, and 4 frames to spare.
	if got.Frames < 24 || got.Frames > 33 || got.Least {
		t.Errorf("%d frames, at least: %v; want about 28", got.Frames, got.Least)
	}
	if got.Step != nil || got.Why == nil {
		t.Errorf("a step of %v mm without a magnification", *got.Step)
	}

	// 3 px of 1,600 on 36 mm are 0.0675 mm; at 1:1 and f/5.6, which works as 11.2, a step of
	// 11.2 times as much.
	status, out, said = planFrom(t, "--from", covering, "--magnification", "1:1", "--sensor-width", "36mm", "--pixels", "24MP")
	for _, want := range []string{
		"Set a focus step 0.8", "and 2 to spare at each end.", "At magnification 1 that is a step of about 0.76 mm, give or take",
		"or about 0.38 mm where the camera records the working f-number: then add --working.",
	} {
		if status != statusGood || !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("status %d, %s: no %q in\n%s", status, said, want, out)
		}
	}
	status, out, said = planFrom(t, "--from", covering, "--magnification", "1:1", "--sensor-width", "36mm", "--pixels", "24MP", "--working")
	// √(0.09² + 0.05² + (2·0.03)²): of blur, f-number and magnification.
	for _, want := range []string{"f/5.6 (working)", "that is a step of about 0.38 mm, give or take 12 %."} {
		if status != statusGood || !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("status %d, %s: no %q in\n%s", status, said, want, out)
		}
	}
	inside := camera.Shoot(t, picturestest.Covering()[:15])
	status, out, said = planFrom(t, "--from", inside+"#1.1", "--setting", "1")
	for _, want := range []string{"No setting is narrow enough: even 1 makes blur grow by 3", "Make at least ", "The subject goes on behind frame 0015: make another test run"} {
		if status != statusGood || !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("status %d, %s: no %q in\n%s", status, said, want, out)
		}
	}
}

// TestPlanFromRefuses holds what a plan from a test run reports where there is none.
func TestPlanFromRefuses(t *testing.T) {
	pixelstest.Long(t)
	camera := picturestest.Camera{Every: 1300 * time.Millisecond}
	covering := camera.Shoot(t, picturestest.Covering()[:9])
	standing := camera.Shoot(t, pixelstest.Run(4, 10, 0.4, 0.4, 0))
	stopping := camera.Shoot(t, pixelstest.Stall(picturestest.Covering(), 11, 3, true))
	named := filepath.Join(t.TempDir(), "set#2")
	if err := os.Mkdir(named, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--from", covering + "#1.7"}, `there is no sequence "1.7"`},
		{[]string{"--from", covering, "--depth", "12mm"}, "--depth does not go with --from"},
		{[]string{"--from", covering, "--setting", "0"}, "--setting: 0 is out of range: write 1 or more"},
		{[]string{"--from", covering, "--setting", "2000"}, "--setting"},
		{[]string{"--setting", "3"}, "give its folder with --from"},
		{[]string{"--from", stopping, "--setting", "9"}, "sequence 1.1 does not show the focus step: " + pixels.ReasonStands},
		{[]string{"--from", covering, "--config", "ours.toml"}, "--config names the file that --remember writes to"},
		{[]string{"--from", standing}, "does not show the focus step: " + pixels.ReasonNotFocus},
		{[]string{"--from", standing + "#1.1"}, "does not show the focus step: "},
		{[]string{"--from", named}, "no picture files in"},
		{[]string{"--from", named + "-gone"}, "set#2-gone"},
	} {
		if status, out, said := planFrom(t, c.args...); status != statusNotAudited || !strings.Contains(said, c.want) || out != "" {
			t.Errorf("%q: status %d, %q %q; want %q", c.args, status, said, out, c.want)
		}
	}
}

// TestPlanRemember holds that a test run is kept beside what stands in the configuration,
// and that the next plan for a frame of that body and lens names the setting.
func TestPlanRemember(t *testing.T) {
	pixelstest.Long(t)
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	camera := picturestest.Camera{Every: 1300 * time.Millisecond, Change: func(_ int, m *exifread.Metadata) {
		m.Model, m.LensModel = exifread.Of("BX-1"), exifread.Of("Borealis 90 mm macro")
	}}
	folder := camera.Shoot(t, picturestest.Covering())
	file := filepath.Join(folder, "prestrike.toml")
	before := "# Ours, by hand.\n[shoot]\nsupport = \"tripod\" # always\n"
	if err := os.WriteFile(file, []byte(before), 0o644); err != nil {
		t.Fatal(err)
	}
	status, _, said := planFrom(t, "--from", folder, "--setting", "9", "--remember")
	after, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if status != statusGood || !strings.Contains(said, "the focus step of BX-1 with Borealis 90 mm macro") || !strings.HasPrefix(string(after), before) {
		t.Fatalf("status %d, %s, the file is\n%s", status, said, after)
	}
	opt := &audit.Options{Rules: rules.All()}
	if _, err := config.Read(opt, file); err != nil || len(opt.FocusSteps) != 1 {
		t.Fatalf("%v, %+v", err, opt.FocusSteps)
	}
	got := opt.FocusSteps[0]
	if got.Setting != 9 || got.FNumber != 5.6 || math.Abs(got.Growth/3.6-1) > 0.15 {
		t.Errorf("remembered %+v, want 9, f/5.6 and about 3.6 px", got)
	}
	frames, err := filepath.Glob(filepath.Join(folder, "*.JPG"))
	if err != nil || len(frames) == 0 {
		t.Fatalf("no frames: %v", err)
	}
	// f/11 makes half of the blur: 9 · 3/growth · 11/5.6.
	want := "focus step at f/11: " + strconv.Itoa(int(9*3/got.Growth*11/5.6)) + ", by the test run made with 9 at f/5.6."
	status, out, said := planFrom(t, "--depth", "10mm", "--magnification", "1:1", "--sensor-width", "36mm", "--pixels", "45MP", "--f-number", "11", "--like", frames[0])
	if status != statusGood || !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
		t.Errorf("status %d, %s: no %q in\n%s", status, said, want, out)
	}
	if status, _, said := planFrom(t, "--from", folder, "--remember"); status != statusNotAudited || !strings.Contains(said, "--remember needs the focus step") {
		t.Errorf("without a setting: status %d, %s", status, said)
	}
}

// TestPlanFromWorking holds that an f-number which walks with focus counts as the working one,
// in millimetres and in what is remembered: in the folder of the job, for its other cards too.
func TestPlanFromWorking(t *testing.T) {
	pixelstest.Long(t)
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	// f/5.6 at the start, which rises by less than a third of a stop.
	camera := picturestest.Camera{Every: 1300 * time.Millisecond, Change: func(i int, m *exifread.Metadata) {
		m.FNumber = exifread.Of(exifread.Rational{Num: int64(56 + i/4), Den: 10})
	}}
	job := t.TempDir()
	t.Chdir(job)
	folder := filepath.Join(job, "test-run")
	if err := os.Rename(camera.Shoot(t, picturestest.Covering()), folder); err != nil {
		t.Fatal(err)
	}
	status, out, said := planFrom(t, "--from", "test-run", "--setting", "9", "--magnification", "1:1", "--sensor-width", "36mm", "--pixels", "24MP", "--remember")
	// 0.0675 mm of blur at f/5.9, with a setting that makes a little less than the 3 px allowed.
	for _, want := range []string{"f/5.9 (working)", "At magnification 1 that is a step of about 0.3", "give or take"} {
		if status != statusGood || !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("status %d, %s: no %q in\n%s", status, said, want, out)
		}
	}
	if text, err := os.ReadFile("prestrike.toml"); err != nil || !strings.Contains(string(text), "f-numbers = 'effective'") || !strings.Contains(said, "Added to prestrike.toml:") {
		t.Fatalf("%v, %s, the file is\n%s", err, said, text)
	}
	opt := &audit.Options{Rules: rules.All()}
	if _, err := config.Read(opt, "prestrike.toml"); err != nil || len(opt.FocusSteps) != 1 || opt.FocusSteps[0].FNumbers != audit.FNumbersEffective {
		t.Fatalf("%v, %+v", err, opt.FocusSteps)
	}
	if err := os.Mkdir("card", 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join("test-run", "BX1_0001.JPG"), "card/BX1_0001.JPG"); err != nil {
		t.Fatal(err)
	}
	// Marked, f/5.6 works as f/11.2 at 1:1: 9 · 3/growth · 11.2/5.9.
	got := opt.FocusSteps[0]
	want := "focus step at f/5.6: " + strconv.Itoa(int(9*3/got.Growth*11.2/got.FNumber)) + ", by the test run made with 9 at f/5.9 (working)."
	args := []string{"--depth", "10mm", "--magnification", "1:1", "--sensor-width", "36mm", "--pixels", "45MP", "--like", "card/BX1_0001.JPG", "--f-number"}
	status, out, said = planFrom(t, append(args, "5.6")...)
	if status != statusGood || !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
		t.Errorf("status %d, %s: no %q in\n%s", status, said, want, out)
	}
	want = strings.Replace(want, "at f/5.6:", "at f/11:", 1)
	status, out, said = planFrom(t, append(args, "11.2", "--working")...)
	if status != statusGood || !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
		t.Errorf("status %d, %s: no %q in\n%s", status, said, want, out)
	}
	status, _, said = planFrom(t, "--from", "test-run", "--setting", "9", "--remember", "--config", "ours.toml")
	if _, err := os.Stat("ours.toml"); err != nil || status != statusGood || !strings.Contains(said, "Added to ours.toml:") {
		t.Errorf("status %d, %s, %v", status, said, err)
	}
}
