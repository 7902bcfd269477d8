package main

import (
	"bytes"

	"prestrike/audit/copies"
	"prestrike/audit/report"
)

// The JSON form of prestrike copies. Keys are always present, null means
// what does not apply, and lists are never null.
type (
	jsonCopies struct {
		Format  string     `json:"format"`
		Version int        `json:"version"`
		All     bool       `json:"all_copied"` // the exit status is 0
		Says    string     `json:"says"`       // the last line of the text
		Card    *jsonCard  `json:"card"`       // null where a manifest or a bag is checked
		Listed  *string    `json:"manifest"`   // the file that takes the place of the card
		Needed  int        `json:"file_count"` // that each copy must hold
		Copies  []jsonCopy `json:"copies"`
		Bags    []jsonBag  `json:"bags"`
		Notes   []string   `json:"notes"`
	}
	jsonCard struct {
		Path         string       `json:"path"`
		Bytes        int64        `json:"bytes"`
		Device       *string      `json:"device"`
		Damaged      []jsonReason `json:"damaged"`
		Unread       []jsonReason `json:"unreadable"`
		FromMemory   []string     `json:"maybe_from_memory"`
		Housekeeping []string     `json:"housekeeping"`
		Links        []string     `json:"links"`
		Problems     []string     `json:"problems"`
	}
	jsonCopy struct {
		Path       string      `json:"path"`
		Device     *string     `json:"device"`
		Missing    []jsonFault `json:"missing"`
		Edited     []jsonFault `json:"edited_sidecars"`
		FromMemory []string    `json:"maybe_from_memory"`
		Twice      []string    `json:"card_twice_in"`
		Gaps       []string    `json:"numbers_in_no_folder"`
		Same       int         `json:"same_file_count"`
		Links      []string    `json:"links"`
		Problems   []string    `json:"problems"`
	}
	jsonFault struct {
		Path     string  `json:"path"`
		Sequence *string `json:"sequence"`
		Problem  string  `json:"problem"`
		Message  string  `json:"message"`
		Like     *string `json:"like"`    // the file of the copy that it seems to have become
		At       *int64  `json:"at_byte"` // the first that differs, from 0; or how many are there
	}
	jsonBag struct {
		Path   string       `json:"path"`
		Files  int          `json:"file_count"`
		Faults []jsonReason `json:"faults"`
	}
	jsonReason struct {
		Path   string `json:"path"`
		Reason string `json:"reason"`
	}
)

func (r *copiesResult) writeJSON(b *bytes.Buffer) error {
	out := jsonCopies{
		Format: "prestrike-copies", Version: 1, All: r.status() == statusGood, Says: report.JSONText(r.lastLine()),
		Needed: len(r.Needed), Copies: []jsonCopy{}, Bags: []jsonBag{}, Notes: jsonTexts(r.remarks()),
	}
	if r.manifest != "" {
		out.Listed = new(report.JSONText(r.manifest))
	}
	if r.Card != nil {
		out.Card = r.jsonCard()
	}
	for _, c := range r.Copies {
		out.Copies = append(out.Copies, jsonCopy{
			Path: report.JSONText(c.Path), Device: known(c.Disk),
			Missing: r.jsonFaults(c.Missing), Edited: r.jsonFaults(c.Edited),
			FromMemory: fromMemory(c.Files), Twice: jsonTexts(c.Twice), Gaps: jsonTexts(r.gaps[c]), Same: c.Same,
			Links: jsonTexts(c.Links), Problems: jsonErrors(c.Problems),
		})
	}
	for _, bag := range r.Bags {
		one := jsonBag{Path: report.JSONText(r.bagName(bag)), Files: bag.Files, Faults: []jsonReason{}}
		for _, f := range bag.Faults {
			one.Faults = append(one.Faults, jsonReason{report.JSONText(f.Path), report.JSONText(f.Problem)})
		}
		out.Bags = append(out.Bags, one)
	}
	return report.EncodeJSON(b, out)
}

func (r *copiesResult) jsonCard() *jsonCard {
	card := &jsonCard{
		Path: report.JSONText(r.Card.Path), Device: known(r.Card.Disk), Damaged: []jsonReason{}, Unread: []jsonReason{},
		FromMemory: fromMemory(r.Needed), Housekeeping: []string{}, Links: jsonTexts(r.Card.Links), Problems: jsonErrors(r.Card.Problems),
	}
	for _, f := range r.Needed {
		card.Bytes += f.Size
	}
	for _, d := range r.spoiled() {
		card.Damaged = append(card.Damaged, jsonReason{report.JSONText(d.path), report.JSONText(d.reason)})
	}
	for _, f := range r.Unread() {
		card.Unread = append(card.Unread, jsonReason{report.JSONText(f.Path), report.JSONText(f.Err.Error())})
	}
	for _, f := range r.Card.Files {
		if f.Kind == copies.Housekeeping {
			card.Housekeeping = append(card.Housekeeping, report.JSONText(f.Path))
		}
	}
	return card
}

func (r *copiesResult) jsonFaults(faults []copies.Fault) []jsonFault {
	list := make([]jsonFault, 0, len(faults))
	for _, f := range faults {
		one := jsonFault{Path: report.JSONText(f.File.Path), Problem: f.Problem.String(), Message: report.JSONText(f.Sentence())}
		if p, ok := r.placeOf(f.File.Path); ok {
			one.Sequence = &p.sequence.ID
		}
		if f.Like != nil {
			one.Like = new(report.JSONText(f.Like.Path))
		}
		if (f.Problem == copies.Differs || f.Problem == copies.Cut) && f.At >= 0 {
			one.At = &f.At
		}
		list = append(list, one)
	}
	return list
}

func known(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func fromMemory(list []*copies.File) []string {
	names := []string{}
	for _, f := range list {
		if f.Read && f.Cached {
			names = append(names, report.JSONText(f.Path))
		}
	}
	return names
}

func jsonTexts(list []string) []string {
	out := make([]string, 0, len(list))
	for _, s := range list {
		out = append(out, report.JSONText(s))
	}
	return out
}

func jsonErrors(list []error) []string {
	out := make([]string, 0, len(list))
	for _, err := range list {
		out = append(out, report.JSONText(err.Error()))
	}
	return out
}
