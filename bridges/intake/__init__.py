"""Bringing lists in from outside: read, matched, looked at by a person, then taken.

``lines`` makes safe lines of a file, ``federal``, ``own`` and ``waypoints`` make
``record.Record``s of them, ``matching`` finds which bridge each speaks of, ``reading``
keeps all of it as raw rows and touches nothing else, ``taking`` puts what is certain
into the record as claims, ``deciding`` is a person's answer where it is not.
"""
