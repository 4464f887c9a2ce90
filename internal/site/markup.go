package site

// archiveMarkup and letterMarkup are Hugo's render hooks: how links, pictures,
// headings and code in wording come out. They stand here, not in the theme, so
// that a workspace cannot loosen them.
//
// A link may go to http, https or mailto, or to a page that the archive has. Any
// other loses its link and keeps its words. A picture in wording becomes its
// words: pictures come from the photo list, where their public copies are.
// Headings fit under those of the page, so that none is skipped.
var archiveMarkup = map[string]string{
	"render-link.html": `{{- $to := strings.TrimSpace .Destination -}}
{{- if findRE "^(?i:https?://[^/]|mailto:[^/])" $to 1 -}}
<a href="{{ $to }}"{{ with .Title }} title="{{ . }}"{{ end }} rel="noopener noreferrer">{{ .Text }}</a>
{{- else -}}
{{- $path := index (split (index (split $to "#") 0) "?") 0 -}}
{{- $path = lower (replaceRE "/?(index\\.html)?$" "/" $path) -}}
{{- with index site.Params.pages $path -}}
<a href="{{ $.Page.Params.root }}{{ . }}"{{ if hasPrefix $path "/word/" }} class="word"{{ end }}>{{ $.Text }}</a>
{{- else -}}{{ .Text }}{{- end -}}
{{- end -}}`,
	"render-image.html":          imageMarkup,
	"render-heading.html":        `<h{{ default 3 .Page.Params.headings }}>{{ .Text }}</h{{ default 3 .Page.Params.headings }}>` + "\n",
	"render-codeblock.html":      codeMarkup,
	"render-codeblock-goat.html": codeMarkup,
	"render-table.html":          tableMarkup,
}

var letterMarkup = map[string]string{
	"render-link.html": `{{- $to := strings.TrimSpace .Destination -}}
{{- $to = replaceRE "^(/[a-z]+/[A-Za-z0-9-]+)$" "$1/" $to -}}
{{- if in site.Params.held $to -}}{{- $to = "" -}}{{- end -}}
{{- if findRE "^/[^/\\\\]" $to 1 -}}{{- $to = printf "%s%s" site.Params.site (strings.TrimPrefix "/" $to) -}}{{- end -}}
{{- if findRE "^(?i:https?://[^/]|mailto:[^/])" $to 1 -}}
<a href="{{ $to }}">{{ .Text }}</a>
{{- else -}}{{ .Text }}{{- end -}}`,
	"render-image.html":          imageMarkup,
	"render-heading.html":        `<h3>{{ .Text }}</h3>` + "\n",
	"render-codeblock.html":      codeMarkup,
	"render-codeblock-goat.html": codeMarkup,
	"render-table.html":          tableMarkup,
}

const (
	imageMarkup = `{{ with .PlainText }}[{{ . }}]{{ end }}`
	codeMarkup  = `<pre><code>{{ .Inner }}</code></pre>` + "\n"
	tableMarkup = `<table>
<thead>{{ range .THead }}<tr>{{ range . }}<th scope="col">{{ .Text }}</th>{{ end }}</tr>{{ end }}</thead>
<tbody>{{ range .TBody }}<tr>{{ range . }}<td>{{ .Text }}</td>{{ end }}</tr>{{ end }}</tbody>
</table>
`
)
