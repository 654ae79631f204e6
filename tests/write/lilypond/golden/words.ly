\score {
  \context Score = "Tune"
  <<
      \context Staff = "MelodyStaff"
      {
          \context Voice = "Melody"
          {
              \clef treble
              {
                  \key g \major
                  \once \override Score.TimeSignature.stencil = #ly:text-interface::print \once \override Score.TimeSignature.text = \markup \override #'(baseline-skip . 0) \number \center-column { "3" "4" }
                  \time 1/4
                  d'4
                  -0
                  \bar "|"
                  \noBreak
              }
              {
                  \hiddenTime 3/4
                  g'2
                  -3
                  b'4
                  -1
                  \bar "|"
                  \noBreak
              }
              {
                  a'4
                  ( -0
                  g'4
                  -3 )
                  e'4
                  -1
                  \bar "|"
                  \noBreak
              }
              {
                  d'2.
                  -0
                  \bar "|."
              }
          }
      }
      \new Lyrics = "Words1" \lyricmode {
          "O"1*1/4 --
          "ver"1*1/2 "the"1*1/4 __
          \skip 1*1/4 "hills and"1*1/4 "far"1*1/4
          \skip 1*3/4
      }
      \new Lyrics = "Words2" \lyricmode {
          "Back"1*1/4
          "a"1*1/2 -- "gain"1*1/4
          \skip 1*1/4 "home"1*1/4 \skip 1*1/4
          \skip 1*3/4
      }
      \context DroneStaff = "DroneStaff"
      {
          \context DroneVoice = "Drone"
          {
              \clef treble
              {
                  \key g \major
                  d'4
                  -0 \-
              }
              {
                  s2
                  s8
                  d'8
                  -1 \-
              }
              {
                  s2.
              }
              {
                  R2.
              }
          }
      }
  >>
  \layout { }
}
\book {
  \paper {
    #(layout-set-staff-size 12)
    line-width = 240.00\bp
    paper-width = 276.00\bp
    ragged-right = ##t
    is-opening = ##t
  }
  \bookOutputSuffix "opening"
  \score {
\context Score = "Opening"
<<
    \context Staff = "MelodyStaff"
    {
        \context Voice = "Melody"
        {
            \clef treble
            {
                \key g \major
                \once \override Score.TimeSignature.stencil = #ly:text-interface::print \once \override Score.TimeSignature.text = \markup \override #'(baseline-skip . 0) \number \center-column { "3" "4" }
                \time 1/4
                d'4
                \bar "|"
                \noBreak
            }
            {
                \hiddenTime 3/4
                g'2
                b'4
                \bar "|"
                \noBreak
            }
            {
                a'4
                (
                g'4
                )
                e'4
                \bar "|"
            }
        }
    }
>>
    \layout { #(layout-set-staff-size 12) }
  }
}
