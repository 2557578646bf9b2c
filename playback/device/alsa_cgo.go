//go:build cgo && linux

package device

// #cgo pkg-config: alsa
//
// #include <alsa/asoundlib.h>
// #include <stdlib.h>
//
// static void quiet(const char *file, int line, const char *function, int err, const char *fmt, ...) {}
// // The sound library writes messages to standard error, over the screen; what matters is returned as a code.
// static void hush(void) { snd_lib_error_set_handler(quiet); }
//
// // probe opens a device as oto will, and stores ALSA's description of it in text. It returns 0, or a negative code
// // and the step that failed.
// static int probe(const char *name, unsigned rate, unsigned channels, int resample, char **text, const char **step) {
//	snd_pcm_t *pcm = NULL;
//	snd_pcm_hw_params_t *params = NULL;
//	snd_output_t *out = NULL;
//	char *dump = NULL;
//	int err;
//	*step = "open";
//	if ((err = snd_pcm_open(&pcm, name, SND_PCM_STREAM_PLAYBACK, SND_PCM_NONBLOCK)) < 0) return err;
//	if ((err = snd_pcm_hw_params_malloc(&params)) < 0) goto end;
//	if ((err = snd_pcm_hw_params_any(pcm, params)) < 0) goto end;
//	*step = "format";
//	if ((err = snd_pcm_hw_params_set_access(pcm, params, SND_PCM_ACCESS_RW_INTERLEAVED)) < 0) goto end;
//	if ((err = snd_pcm_hw_params_set_format(pcm, params, SND_PCM_FORMAT_FLOAT_LE)) < 0) goto end;
//	*step = "channels";
//	if ((err = snd_pcm_hw_params_set_channels(pcm, params, channels)) < 0) goto end;
//	*step = "rate";
//	if ((err = snd_pcm_hw_params_set_rate_resample(pcm, params, resample)) < 0) goto end;
//	if ((err = snd_pcm_hw_params_set_rate(pcm, params, rate, 0)) < 0) goto end;
//	*step = "set up";
//	if ((err = snd_pcm_hw_params(pcm, params)) < 0) goto end;
//	if ((err = snd_output_buffer_open(&out)) < 0) goto end;
//	snd_pcm_dump(pcm, out);
//	size_t n = snd_output_buffer_string(out, &dump);
//	*text = strndup(dump, n);
// end:
//	if (out) snd_output_close(out);
//	if (params) snd_pcm_hw_params_free(params);
//	snd_pcm_close(pcm);
//	return err;
// }
import "C"

import (
	"fmt"
	"unsafe"

	"heardiff/playback/pcm"
)

// hush keeps the sound library from writing to standard error.
func hush() { C.hush() }

// probe sets up the device "default" once and returns ALSA's own description of the path to it.
func probe(rate pcm.Rate, channels int, resample bool) (string, error) {
	name := C.CString("default")
	defer C.free(unsafe.Pointer(name))
	var text, step *C.char
	allow := C.int(0)
	if resample {
		allow = 1
	}
	code := C.probe(name, C.uint(rate), C.uint(channels), allow, &text, &step)
	if code < 0 {
		why := C.GoString(C.snd_strerror(code))
		if C.GoString(step) == "rate" {
			return "", fmt.Errorf("%w (%d Hz): %s", ErrResample, rate, why)
		}
		return "", fmt.Errorf("%s: %s", C.GoString(step), why)
	}
	defer C.free(unsafe.Pointer(text))
	return C.GoString(text), nil
}

func listSound() ([]Choice, error) {
	hush()
	iface := C.CString("pcm")
	defer C.free(unsafe.Pointer(iface))
	var hints *unsafe.Pointer
	if code := C.snd_device_name_hint(-1, iface, &hints); code < 0 {
		return nil, fmt.Errorf("list the sound devices: %s", C.GoString(C.snd_strerror(code)))
	}
	defer C.snd_device_name_free_hint(hints)
	var out []Choice
	for p := hints; *p != nil; p = (*unsafe.Pointer)(unsafe.Add(unsafe.Pointer(p), unsafe.Sizeof(*p))) {
		if c, plays := choice(hint(*p, "NAME"), hint(*p, "DESC"), hint(*p, "IOID")); plays {
			out = append(out, c)
		}
	}
	return out, nil
}

func hint(h unsafe.Pointer, key string) string {
	k := C.CString(key)
	defer C.free(unsafe.Pointer(k))
	v := C.snd_device_name_get_hint(h, k)
	if v == nil {
		return ""
	}
	defer C.free(unsafe.Pointer(v))
	return C.GoString(v)
}
