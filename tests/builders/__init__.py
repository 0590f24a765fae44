"""All archives that tests are made with, as records in memory and as folders.

``records`` makes records, ``folders`` writes archives and looks at what lies in them; the other rooms use these two.
"""
