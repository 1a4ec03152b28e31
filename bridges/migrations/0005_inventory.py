"""What map, search, feeds and digests stand on, and what more a list is narrowed by."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('bridges', '0004_more_forms'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ChangeSeen',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=40)),
                ('day', models.DateField()),
                ('parts', models.CharField(max_length=200)),
                ('text', models.TextField(blank=True)),
                ('noted_at', models.DateTimeField(db_index=True)),
            ],
            options={
                'ordering': ['-noted_at', '-day', '-id'],
            },
        ),
        migrations.CreateModel(
            name='MapRow',
            fields=[
                ('bridge', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='+', serialize=False, to='bridges.bridge')),
                ('packed', models.BinaryField()),
                ('hands', models.BinaryField(default=b'')),
                ('stamp', models.PositiveBigIntegerField(db_index=True, default=0)),
            ],
        ),
        migrations.CreateModel(
            name='MapTerm',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=12)),
                ('word', models.CharField(max_length=160)),
            ],
        ),
        migrations.CreateModel(
            name='SearchText',
            fields=[
                ('bridge', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='+', serialize=False, to='bridges.bridge')),
                ('told', models.TextField(blank=True, verbose_name='what anybody may search')),
                ('kept', models.TextField(blank=True, verbose_name="what only the society's people may search")),
                ('notes', models.TextField(blank=True)),
            ],
        ),
        migrations.CreateModel(
            name='SearchWord',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('word', models.CharField(max_length=40, unique=True)),
                ('is_told', models.BooleanField(default=False)),
            ],
        ),
        migrations.CreateModel(
            name='StatusSpell',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('status', models.CharField(max_length=20)),
                ('first', models.DateField(null=True)),
                ('last', models.DateField(null=True)),
            ],
            options={
                'ordering': ['bridge', 'first', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Watch',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('query', models.CharField(blank=True, max_length=1000)),
                ('title', models.CharField(blank=True, max_length=300)),
                ('made_at', models.DateTimeField(auto_now_add=True)),
                ('told_until', models.DateTimeField()),
            ],
            options={
                'ordering': ['title', 'id'],
            },
        ),
        migrations.AddField(
            model_name='mapversion',
            name='layout',
            field=models.CharField(blank=True, max_length=40),
        ),
        migrations.AddField(
            model_name='mapversion',
            name='whole',
            field=models.PositiveBigIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='standing',
            name='ever_changed',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='standing',
            name='features',
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name='standing',
            name='panels',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='standing',
            name='plates',
            field=models.CharField(blank=True, max_length=60),
        ),
        migrations.AddField(
            model_name='standing',
            name='repair_count',
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='standing',
            name='total_length_ft',
            field=models.FloatField(blank=True, null=True, verbose_name='all spans (ft)'),
        ),
        migrations.AddIndex(
            model_name='bridge',
            index=models.Index(fields=['name', 'id'], name='bridge_in_order_of_name'),
        ),
        migrations.AddIndex(
            model_name='bridge',
            index=models.Index(fields=['crossing'], name='bridge_over_water'),
        ),
        migrations.AddIndex(
            model_name='bridge',
            index=models.Index(fields=['road'], name='bridge_on_road'),
        ),
        migrations.AddField(
            model_name='changeseen',
            name='bridge',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='changes_seen', to='bridges.bridge'),
        ),
        migrations.AddConstraint(
            model_name='mapterm',
            constraint=models.UniqueConstraint(fields=('kind', 'word'), name='map_term_once'),
        ),
        migrations.AddField(
            model_name='statusspell',
            name='bridge',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='spells', to='bridges.bridge'),
        ),
        migrations.AddField(
            model_name='watch',
            name='bridge',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='bridges.bridge'),
        ),
        migrations.AddField(
            model_name='watch',
            name='person',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddConstraint(
            model_name='changeseen',
            constraint=models.UniqueConstraint(fields=('bridge', 'key'), name='change_seen_once'),
        ),
        migrations.AddIndex(
            model_name='statusspell',
            index=models.Index(fields=['first', 'last'], name='bridges_sta_first_c30869_idx'),
        ),
        migrations.AddConstraint(
            model_name='watch',
            constraint=models.UniqueConstraint(condition=models.Q(('bridge__isnull', False)), fields=('person', 'bridge'), name='watch_of_a_bridge_once'),
        ),
        migrations.AddConstraint(
            model_name='watch',
            constraint=models.UniqueConstraint(condition=models.Q(('bridge__isnull', True)), fields=('person', 'query'), name='watch_of_a_view_once'),
        ),
    ]
