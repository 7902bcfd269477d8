package main

import (
	"bytes"
	"html/template"

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
th, td { text-align: left; vertical-align: top; padding: .3rem .7rem .3rem 0; border-bottom: 1px solid #8884 }
</style>
</head>
<body>
<main>
{{.}}</main>
</body>
</html>
`))

// readmePage returns the README as a page that needs nothing else. HTML in the
// README is left out: of it there is none but comments for tests.
func readmePage(markdown []byte) ([]byte, error) {
	var body, page bytes.Buffer
	convert := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID()))
	if err := convert.Convert(markdown, &body); err != nil {
		return nil, err
	}
	text := bytes.ReplaceAll(body.Bytes(), []byte("<!-- raw HTML omitted -->"), nil)
	err := pageFrame.Execute(&page, template.HTML(text))
	return page.Bytes(), err
}
