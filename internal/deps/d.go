package deps

import (
	_ "github.com/adrg/frontmatter"
	_ "github.com/boombuler/barcode/qr"
	_ "github.com/disintegration/imaging"
	_ "github.com/emersion/go-smtp"
	_ "github.com/go-text/typesetting/shaping"
	_ "github.com/goccy/go-yaml"
	_ "github.com/gohugoio/hugo/config/allconfig"
	_ "github.com/gohugoio/hugo/hugofs"
	_ "github.com/gohugoio/hugo/hugolib"
	_ "github.com/pressly/goose/v3"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/schollz/progressbar/v3"
	_ "github.com/spf13/cobra"
	_ "github.com/wneessen/go-mail"
	_ "golang.org/x/image/font"
	_ "golang.org/x/net/html"
	_ "golang.org/x/term"
	_ "golang.org/x/text/unicode/norm"
	_ "modernc.org/sqlite"
)
