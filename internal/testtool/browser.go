package testtool

import (
	"bufio"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"testing"
)

// Browser is a headless Chromium that a test holds pages against. It speaks the
// browser's own protocol over two pipes, so that nothing listens on a port, and it
// has no network: every name is not found. One page is open at a time.
type Browser struct {
	t       testing.TB
	out     io.Writer
	session string

	mu      sync.Mutex
	next    int
	answers map[int]chan answer
	asked   []string // the addresses that pages have asked for
	loaded  chan struct{}
	ended   chan struct{}
}

type answer struct {
	result json.RawMessage
	err    error
}

// message is one of the protocol: an answer when it has an id, else an event.
type message struct {
	ID     int             `json:"id"`
	Method string          `json:"method"`
	Params json.RawMessage `json:"params"`
	Result json.RawMessage `json:"result"`
	Error  *struct {
		Message string `json:"message"`
	} `json:"error"`
}

// NeedBrowser starts Chromium for one test, and ends it with the test. Missing, it
// is a skip or a failure, as Need says.
func NeedBrowser(t testing.TB) *Browser {
	t.Helper()
	chromium := Need(t, "chromium")
	theirIn, ourOut, err1 := os.Pipe()
	ourIn, theirOut, err2 := os.Pipe()
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars", "--host-resolver-rules=MAP * ~NOTFOUND",
		"--user-data-dir="+t.TempDir(), "--remote-debugging-pipe", "about:blank")
	cmd.ExtraFiles = []*os.File{theirIn, theirOut} // file descriptors 3 and 4, as the protocol has it
	if err := cmd.Start(); err != nil {
		t.Fatalf("chromium: %v", err)
	}
	theirIn.Close()
	theirOut.Close()
	b := &Browser{t: t, out: ourOut, answers: map[int]chan answer{}, loaded: make(chan struct{}, 16), ended: make(chan struct{})}
	go b.listen(ourIn)
	t.Cleanup(func() {
		b.send("Browser.close", "", nil) // whether it answers or is gone already
		cmd.Wait()
		ourOut.Close()
		ourIn.Close()
	})
	var target struct{ TargetID string }
	b.do("Target.createTarget", map[string]any{"url": "about:blank"}, &target)
	var attached struct{ SessionID string }
	b.do("Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &attached)
	b.session = attached.SessionID
	b.do("Page.enable", nil, nil)
	b.do("Network.enable", nil, nil)
	return b
}

// listen hands answers to those who wait for them.
func (b *Browser) listen(in io.Reader) {
	defer close(b.ended)
	r := bufio.NewReader(in)
	for {
		text, err := r.ReadBytes(0)
		if err != nil {
			return
		}
		var m message
		if json.Unmarshal(text[:len(text)-1], &m) != nil {
			return
		}
		if m.ID == 0 {
			b.event(m)
			continue
		}
		a := answer{result: m.Result}
		if m.Error != nil {
			a.err = errors.New(m.Error.Message)
		}
		b.mu.Lock()
		wait := b.answers[m.ID]
		delete(b.answers, m.ID)
		b.mu.Unlock()
		if wait != nil {
			wait <- a
		}
	}
}

func (b *Browser) event(m message) {
	switch m.Method {
	case "Page.loadEventFired":
		b.loaded <- struct{}{}
	case "Network.requestWillBeSent":
		var sent struct {
			Request struct {
				URL string `json:"url"`
			} `json:"request"`
		}
		if json.Unmarshal(m.Params, &sent) == nil {
			b.mu.Lock()
			b.asked = append(b.asked, sent.Request.URL)
			b.mu.Unlock()
		}
	}
}

func (b *Browser) send(method, session string, params any) (json.RawMessage, error) {
	wait := make(chan answer, 1)
	b.mu.Lock()
	b.next++
	id := b.next
	b.answers[id] = wait
	b.mu.Unlock()
	order := map[string]any{"id": id, "method": method}
	if params != nil {
		order["params"] = params
	}
	if session != "" {
		order["sessionId"] = session
	}
	text, err := json.Marshal(order)
	if err != nil {
		return nil, err
	}
	if _, err := b.out.Write(append(text, 0)); err != nil {
		return nil, err
	}
	select {
	case a := <-wait:
		return a.result, a.err
	case <-b.ended:
		return nil, errors.New("the browser has ended")
	}
}

func (b *Browser) do(method string, params, into any) {
	b.t.Helper()
	result, err := b.send(method, b.session, params)
	if err == nil && into != nil {
		err = json.Unmarshal(result, into)
	}
	if err != nil {
		b.t.Fatalf("chromium: %s: %v", method, err)
	}
}

// Size sets the page's width and height, in CSS pixels.
func (b *Browser) Size(width, height int) {
	b.t.Helper()
	b.do("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false}, nil)
}

// Scheme has the page look as for people who prefer "light" or "dark".
func (b *Browser) Scheme(scheme string) {
	b.t.Helper()
	b.do("Emulation.setEmulatedMedia", map[string]any{"features": []map[string]string{{"name": "prefers-color-scheme", "value": scheme}}}, nil)
}

// Scripts lets pages run scripts of their own, or not. Eval works all the same.
func (b *Browser) Scripts(run bool) {
	b.t.Helper()
	b.do("Emulation.setScriptExecutionDisabled", map[string]any{"value": !run}, nil)
}

// Open goes to an address and returns when the page has loaded.
func (b *Browser) Open(address string) {
	b.t.Helper()
	b.await(func() {
		var gone struct{ ErrorText string }
		b.do("Page.navigate", map[string]any{"url": address}, &gone)
		if gone.ErrorText != "" {
			b.t.Fatalf("chromium: %s: %s", address, gone.ErrorText)
		}
	})
}

// Follow does something that leads to another page, such as pressing a key on a
// link, and returns when that has loaded.
func (b *Browser) Follow(doing func()) {
	b.t.Helper()
	b.await(doing)
}

func (b *Browser) await(doing func()) {
	b.t.Helper()
	for len(b.loaded) > 0 {
		<-b.loaded
	}
	doing()
	select {
	case <-b.loaded:
	case <-b.ended:
		b.t.Fatal("chromium: the browser has ended")
	}
}

// Eval runs a script in the page, waits for what it promises, and returns its value.
func (b *Browser) Eval(script string, into any) {
	b.t.Helper()
	var out struct {
		Result struct {
			Value json.RawMessage `json:"value"`
		} `json:"result"`
		ExceptionDetails *struct {
			Text      string `json:"text"`
			Exception struct {
				Description string `json:"description"`
			} `json:"exception"`
		} `json:"exceptionDetails"`
	}
	b.do("Runtime.evaluate", map[string]any{"expression": script, "awaitPromise": true, "returnByValue": true}, &out)
	if e := out.ExceptionDetails; e != nil {
		b.t.Fatalf("chromium: a script failed: %s %s", e.Text, e.Exception.Description)
	}
	if into == nil {
		return
	}
	if err := json.Unmarshal(out.Result.Value, into); err != nil {
		b.t.Fatalf("chromium: a script gave %q: %v", out.Result.Value, err)
	}
}

// Type types a text where the focus is.
func (b *Browser) Type(text string) {
	b.t.Helper()
	b.do("Input.insertText", map[string]any{"text": text}, nil)
}

// keys are those that Press knows: what they do beside their name, and their code.
var keys = map[string]struct {
	text string
	code int
}{"Tab": {"", 9}, "Enter": {"\r", 13}, "Escape": {"", 27}, "ArrowDown": {"", 40}, "ArrowUp": {"", 38}}

// Press presses a key: Tab, Enter, Escape, ArrowDown or ArrowUp.
func (b *Browser) Press(key string) {
	b.t.Helper()
	k, ok := keys[key]
	if !ok {
		b.t.Fatalf("there is no key %q", key)
	}
	for _, kind := range []string{"keyDown", "keyUp"} {
		b.do("Input.dispatchKeyEvent", map[string]any{"type": kind, "key": key, "code": key, "windowsVirtualKeyCode": k.code, "text": k.text}, nil)
	}
}

// Asked returns the addresses that pages have asked for since the last call.
func (b *Browser) Asked() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	asked := b.asked
	b.asked = nil
	return asked
}

// Picture returns the whole page as it looks, as PNG.
func (b *Browser) Picture() []byte {
	b.t.Helper()
	return b.data("Page.captureScreenshot", map[string]any{"format": "png", "captureBeyondViewport": true})
}

// Print returns the page as it prints on A4, as PDF.
func (b *Browser) Print() []byte {
	b.t.Helper()
	return b.data("Page.printToPDF", map[string]any{"paperWidth": 210 / 25.4, "paperHeight": 297 / 25.4, "printBackground": false})
}

func (b *Browser) data(method string, params any) []byte {
	b.t.Helper()
	var out struct {
		Data string `json:"data"`
	}
	b.do(method, params, &out)
	data, err := base64.StdEncoding.DecodeString(out.Data)
	if err != nil {
		b.t.Fatal(err)
	}
	return data
}

// Violation is something that axe-core holds against a page.
type Violation struct {
	Rule string `json:"rule"`
	Help string `json:"help"`
	Node string `json:"node"` // the first of those concerned
}

func (v Violation) String() string { return fmt.Sprintf("%s: %s: %s", v.Rule, v.Help, v.Node) }

// Axe holds the page that is open against every rule of axe-core.
func (b *Browser) Axe() []Violation {
	b.t.Helper()
	folder := NeedPackage(b.t, "axe-core")
	script, err := os.ReadFile(folder + "/axe.min.js")
	if err != nil {
		b.t.Fatal(err)
	}
	var there bool
	if b.Eval("typeof axe === 'object'", &there); !there {
		b.Eval(string(script)+";0", nil)
	}
	var found []Violation
	b.Eval(`axe.run(document, {resultTypes: ["violations"]}).then(r => r.violations.map(v => ({rule: v.id, help: v.help, node: v.nodes[0].html})))`, &found)
	return found
}
