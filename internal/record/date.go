package record

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/table"
)

// A log's dates lie between these years; a number that gives another was no
// count of days.
const (
	firstYear = 1950
	lastYear  = 2199
)

var (
	clockTime = regexp.MustCompile(`(?i)[ t]\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*([ap]\.?m\.?|z)?$`)
	weekday   = regexp.MustCompile(`(?i)^(mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun)[a-z]*\.?,?\s+`)
	ordinal   = regexp.MustCompile(`(?i)^(\d{1,2})(st|nd|rd|th)$`)
	allDigits = regexp.MustCompile(`^\d+$`)
)

func isoDate(s string) error { _, err := day.Parse(s); return err }

// dates reads the dates of one column.
type dates struct {
	format string
	year   int // the first of the calendar whose days are counted; 0: unknown
}

// read reads a date as a spreadsheet holds or shows it. The order of day and
// month is never guessed.
func (d dates) read(c table.Cell) (day.Date, error) {
	if c.Stored != "" {
		return d.serial(c.Stored)
	}
	text := strings.TrimSpace(weekday.ReplaceAllString(clockTime.ReplaceAllString(clean(c.Text), ""), ""))
	if date, err := day.Parse(text); err == nil {
		return inRange(text, date)
	}
	if allDigits.MatchString(text) && len(text) == 5 {
		return d.serial(text)
	}
	words := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune("/.-,' ", r) })
	if len(words) != 3 {
		return day.Date{}, fmt.Errorf("%q is not a date; write it as 2031-01-14", reading.Shorten(c.Text))
	}
	year, month, date, err := d.order(c.Text, words)
	if err != nil {
		return day.Date{}, err
	}
	if len(year) == 2 {
		year = "20" + year
	}
	found, err := day.Parse(year + "-" + twoDigits(month) + "-" + twoDigits(date))
	if err != nil {
		return day.Date{}, fmt.Errorf("%q is no day of any calendar, read as %s; correct it, or the format in the map", reading.Shorten(c.Text), d.shownFormat())
	}
	return inRange(c.Text, found)
}

func twoDigits(s string) string {
	if len(s) == 1 {
		return "0" + s
	}
	return s
}

func (d dates) shownFormat() string {
	if d.format == "" {
		return "year, month, day"
	}
	return d.format
}

// order tells which word is the year, the month and the day.
func (d dates) order(cell string, words []string) (year, month, date string, err error) {
	for i, w := range words {
		if m := ordinal.FindStringSubmatch(w); m != nil {
			words[i] = m[1]
		}
	}
	if i := slices.IndexFunc(words, func(w string) bool { return monthNamed(w) > 0 }); i >= 0 {
		month = strconv.Itoa(int(monthNamed(words[i])))
		rest := slices.Delete(slices.Clone(words), i, i+1)
		switch {
		case len(rest[0]) == 4 || len(rest[1]) != 4 && d.format == yearFirst:
			return rest[0], month, rest[1], nil
		case len(rest[1]) == 4 || d.format != "":
			return rest[1], month, rest[0], nil
		}
		return "", "", "", unclear(cell)
	}
	switch {
	case len(words[0]) == 4:
		return words[0], words[1], words[2], nil
	case d.format == dayFirst:
		return words[2], words[1], words[0], nil
	case d.format == monthFirst:
		return words[2], words[0], words[1], nil
	case d.format == yearFirst:
		return words[0], words[1], words[2], nil
	}
	return "", "", "", unclear(cell)
}

func unclear(cell string) error {
	return fmt.Errorf("%q can be read in more than one way; write format: %s or %s beside its column in the map", reading.Shorten(cell), dayFirst, monthFirst)
}

func monthNamed(word string) time.Month {
	word = strings.ToLower(word)
	for m := time.January; m <= time.December; m++ {
		full := strings.ToLower(m.String())
		if word == full || len(word) >= 3 && strings.HasPrefix(full, word) || m == time.September && word == "sept" {
			return m
		}
	}
	return 0
}

// serial reads a day that is counted from the start of a spreadsheet's calendar.
// ECMA-376 part 1, 18.17.4.1: in the 1900 system day 1 is 1 January 1900, and
// there is a day 60 for a 29 February 1900 that never was; in the 1904 system
// day 0 is 1 January 1904.
func (d dates) serial(number string) (day.Date, error) {
	n, err := strconv.ParseFloat(number, 64)
	if err != nil || n < 1 || n > 200_000 {
		return day.Date{}, fmt.Errorf("%q is not a date; write it as 2031-01-14", reading.Shorten(number))
	}
	start := day.Date{Year: 1899, Month: time.December, Day: 30}
	switch d.year {
	case 0:
		return day.Date{}, fmt.Errorf("%q looks like a day counted by a spreadsheet; export the column as dates, or write serials: 1900 beside its column in the map if it counts %s as %s",
			number, number, start.AddDays(int(n)).Words())
	case 1904:
		start = day.Date{Year: 1904, Month: time.January, Day: 1}
	}
	return inRange(number, start.AddDays(int(n)))
}

func inRange(cell string, d day.Date) (day.Date, error) {
	if d.Year < firstYear || d.Year > lastYear {
		return day.Date{}, fmt.Errorf("%q would be %s, which no log holds; correct the year", reading.Shorten(cell), d.Words())
	}
	return d, nil
}
