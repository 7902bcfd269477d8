package main

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"io/fs"
	"regexp"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
)

var pageFrame = template.Must(template.New("page").Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>prestrike</title>
<style>
:root { color-scheme: light dark }
body { font: 1.05rem/1.55 system-ui, sans-serif; max-width: 52rem; margin: 2rem auto; padding: 0 1rem }
pre { overflow-x: auto; padding: .8rem; border: 1px solid #8888; border-radius: .3rem; font-size: .82rem; line-height: 1.35 }
table { border-collapse: collapse; display: block; overflow-x: auto }
img { max-width: 100%; height: auto }
th, td { text-align: left; vertical-align: top; padding: .3rem .7rem .3rem 0; border-bottom: 1px solid #8884 }
</style>
</head>
<body>
<main>
{{.}}</main>
</body>
</html>
`))

var pngFile = regexp.MustCompile(`<img src="([^":]+\.png)"`)

// withSource is what the README describes for those who have the source: how to run the
// program and its tests with Go.
var withSource = regexp.MustCompile(`(?s)<!-- with the source -->\n.*?<!-- end -->\n`)

// readmePage returns the README as a page that needs nothing else: its PNG pictures, which
// are read from files, are part of it. What needs the source is left out. HTML in the README is left out: of it there is none
// but comments for tests.
func readmePage(markdown []byte, files fs.FS) ([]byte, error) {
	var body, page bytes.Buffer
	convert := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID()))
	if err := convert.Convert(withSource.ReplaceAll(markdown, nil), &body); err != nil {
		return nil, err
	}
	text := bytes.ReplaceAll(body.Bytes(), []byte("<!-- raw HTML omitted -->"), nil)
	var lacks error
	text = pngFile.ReplaceAllFunc(text, func(tag []byte) []byte {
		picture, err := fs.ReadFile(files, string(pngFile.FindSubmatch(tag)[1]))
		if err != nil {
			lacks = err
			return nil
		}
		return fmt.Appendf(nil, `<img src="data:image/png;base64,%s"`, base64.StdEncoding.EncodeToString(picture))
	})
	if lacks != nil {
		return nil, fmt.Errorf("a picture of the README: %w", lacks)
	}
	err := pageFrame.Execute(&page, template.HTML(text))
	return page.Bytes(), err
}
