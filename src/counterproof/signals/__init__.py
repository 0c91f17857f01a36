"""What was recorded: readers, live sources and what they yield.

What to use when
----------------
* a sound or video file: :func:`counterproof.signals.audio.open_audio`, then click detection
  (:mod:`counterproof.signals.clicks`);
* the display in a video: :func:`counterproof.signals.video.watch`, then the rest of
  :mod:`counterproof.signals.video`;
* a microphone: :class:`counterproof.signals.microphone.MicrophoneSource`, then the same detection;
* a table from anywhere: :func:`counterproof.signals.suggest.suggest_mapping`, shown to a person,
  then :func:`counterproof.signals.tables.read_table` with the confirmed
  :class:`counterproof.signals.mapping.Mapping`;
* a plain list of pulse times, or JSON: :func:`counterproof.signals.pulselist.read_pulse_list`;
* a serial line: :func:`counterproof.signals.serialline.sample_line` and
  :func:`~counterproof.signals.serialline.suggest_line_mapping`, then
  :class:`~counterproof.signals.serialline.SerialSource`;
* keeping pulses: :mod:`counterproof.signals.pulsefile`.

Everything ends as a :class:`~counterproof.signals.trains.PulseTrain`,
:class:`~counterproof.signals.trains.CountLog` or
:class:`~counterproof.signals.trains.ReadingLog`. Files are recognised by their content; a file that
cannot be right raises :class:`counterproof.errors.UserError` with one sentence, and one that is
partly right gives what is there with a warning. The formats are in ``docs/formats.md``.
"""
